"""Verbs that answer a question from the model: knobs, optimum, compare, front, and others."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import click
import pandas as pd

from experiments.ledger import Ledger
from experiments.plan import Plan
from optimiser import (
    compare,
    dead_ends,
    figures,
    fit,
    front,
    optimum,
    outlook,
    sensitivity,
    wording,
)
from optimiser.answer_tables import (
    EVIDENCE,
    FRONT_RULE,
    RULE,
    SAVED,
    comparison_tables,
    dead_end_table,
    front_table,
    knob_table,
    optimum_table,
    outlook_table,
    pair_tables,
    shift_table,
    traded_note,
)
from optimiser.command.options import answer_options, name_pairs, parse_pairs
from optimiser.command.show import (
    print_calibration,
    print_json,
    print_notes,
    print_rows,
    print_text,
    progress,
    save_picture,
)
from optimiser.sides import bare_cones, name_sides, read_side, unmeasured
from optimiser.surrogate import Model

__all__ = [
    "compare_command",
    "deadends_command",
    "front_command",
    "knobs_command",
    "optimum_command",
    "outlook_command",
]


@dataclass(frozen=True)
class _Desk:
    """What every question needs: the plan, the trials, a fitted model."""

    ledger: Ledger
    plan: Plan
    trials: pd.DataFrame
    seed: int
    model: Model
    tell: Any

    @property
    def labels(self) -> dict[str, str]:
        return wording.describe(self.plan)

    @property
    def name(self) -> str:
        return wording.score_name(self.plan)

    @property
    def unit(self) -> str:
        return wording.score_unit(self.plan)

    @property
    def common(self) -> dict[str, Any]:
        return {"seed": self.seed, "model": self.model, "progress": self.tell}

    def scored(self, answer: Any) -> Any:
        """Give an answer that judges by the score with a note where the plan trades."""
        return replace(answer, notes=[*answer.notes, *traded_note(self.plan)])


@contextmanager
def _desk(folder: Path, seed: int | None, title: str) -> Iterator[_Desk]:
    """Open the experiment and fit the model, showing how far it is."""
    with Ledger.open(folder) as ledger:
        plan, trials = ledger.plan, ledger.table()
        start = plan.seed if seed is None else seed
        with progress(title) as tell:
            model = fit(plan, trials, seed=start)
            yield _Desk(ledger, plan, model.as_judged(trials), start, model, tell)


def _close(answer: Any, labels: dict[str, str], *, whole: bool) -> None:
    """Print what stands below every answer: the text, the calibration, the notes."""
    print_text(answer.text)
    click.echo()
    print_calibration(answer.calibration, answer.cones, labels, whole=whole)
    print_notes(answer.notes)


def _known(name: str, names: Any, kind: str) -> None:
    if name not in names:
        raise click.UsageError(f"found {kind} {name!r}, expected one of: {', '.join(names)}")


@click.command("knobs")
@click.option("--metric", default="score", show_default=True, help="A metric of the plan.")
@click.option("--together", is_flag=True, help="Draw what two variables do together.")
@answer_options
def knobs_command(
    metric: str,
    together: bool,
    png: Path | None,
    svg: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show which variables matter, and how much.

    First-order and total Sobol indices with their 90 % intervals; the picture shows the main
    effects, or with --together a matrix of all pairs and the two strongest ones as curves.
    `alone` is what the variable does by itself, `in all` includes its company, `together` is
    what two do beyond what each does alone; `evidence` tells whether it does anything.
    """
    with _desk(folder, seed, "weighing the knobs") as desk:
        _known(metric, ["score", *desk.plan.metrics], "metric")
        answer = desk.scored(sensitivity(desk.plan, desk.trials, metric=metric, **desk.common))
        values = desk.model.scores(desk.trials) if metric in ("score", desk.name) else None
    units = {name: variable.unit for name, variable in desk.plan.variables.items()}
    save_picture(
        lambda: (
            figures.draw_interactions(answer, labels=desk.labels, units=units)
            if together
            else figures.draw_effects(answer, desk.trials, values, labels=desk.labels)
        ),
        png,
        svg,
        answer.text,
    )
    if json_wanted:
        print_json(answer)
        return
    print_rows(knob_table(answer, desk.labels))
    if any(knob.evidence == knob.evidence for knob in answer.knobs):
        print_text(EVIDENCE)
        click.echo()
    for table in pair_tables(answer, desk.labels):
        print_rows(table)
    _close(answer, desk.labels, whole=check_wanted)


@click.command("optimum")
@click.argument("variable")
@click.option(
    "--hold",
    "held",
    multiple=True,
    metavar="VARIABLE=VALUE",
    help="Hold another variable at a setting; may be given again.",
)
@answer_options
def optimum_command(
    variable: str,
    held: tuple[str, ...],
    png: Path | None,
    svg: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show where the best setting of one variable lies.

    The others are at their best, or held. The picture shows the score over its settings, then
    each metric at the best recipe with each setting; rings are the cones. Where there are
    choices, it is said whether the best setting differs between their levels.
    """
    with _desk(folder, seed, "looking for the optimum") as desk:
        _known(variable, desk.plan.variables, "variable")
        hold = name_pairs(parse_pairs(held, "--hold"), desk.plan.variables, "--hold")
        answer = desk.scored(
            optimum(desk.plan, desk.trials, variable=variable, hold=hold, **desk.common)
        )
        scores = desk.model.scores(desk.trials)
    units = {name: metric.unit for name, metric in desk.plan.metrics.items()}
    save_picture(
        lambda: figures.draw_optimum(
            answer,
            labels=desk.labels,
            metric=desk.name,
            units={**units, desk.name: desk.unit},
            trials=desk.trials.assign(score=scores),
        ),
        png,
        svg,
        answer.text,
    )
    if json_wanted:
        print_json(answer)
        return
    if answer.setting is not None:
        print_rows(optimum_table([answer], desk.labels))
    if answer.shifts:
        print_rows(shift_table(answer, desk.labels))
    _close(answer, desk.labels, whole=check_wanted)


@click.command("compare")
@click.argument("a")
@click.argument("b")
@answer_options
def compare_command(
    a: str,
    b: str,
    png: Path | None,
    svg: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show whether one cone or recipe beats another.

    A and B are cone numbers, or settings as variable=value,variable=value; with a few settings
    each side is taken at the best of the others, and the two over the same others as well:
    process=resin process=filament. Under 5 % for a difference over the repeatability means
    that the two are equal within it (two one-sided tests). A recipe may start from a cone:
    7,cure_time=20.
    """
    with _desk(folder, seed, "comparing") as desk:
        recipes = (read_side(desk.ledger, a, "A"), read_side(desk.ledger, b, "B"))
        called = name_sides(desk.plan, (a, b), recipes)
        answer = compare(
            desk.plan, desk.trials, a=recipes[0], b=recipes[1], names=called,
            cones=bare_cones((a, b)), **desk.common,
        )  # fmt: skip
        silent = unmeasured(desk.ledger, (a, b))
        answer = desk.scored(replace(answer, notes=[*silent, *answer.notes]))
    units = {name: metric.unit for name, metric in desk.plan.metrics.items()}
    units.setdefault("score", desk.unit)
    save_picture(
        lambda: figures.draw_comparison(
            answer, a=called[0], b=called[1], units=units, labels=desk.labels
        ),
        png,
        svg,
        answer.text,
    )
    if json_wanted:
        print_json(answer)
        return
    for table in comparison_tables(answer, called, units, desk.labels):
        print_rows(table)
    _close(answer, desk.labels, whole=check_wanted)


@click.command("deadends")
@answer_options
def deadends_command(
    png: Path | None,
    svg: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show which levels and regions can be given up.

    And what that may cost in score, and what it saves in cones.
    """
    with _desk(folder, seed, "looking for dead ends") as desk:
        answer = desk.scored(dead_ends(desk.plan, desk.trials, **desk.common))
    save_picture(lambda: figures.draw_dead_ends(answer, labels=desk.labels), png, svg, answer.text)
    if json_wanted:
        print_json(answer)
        return
    table = dead_end_table(answer, desk.labels, desk.labels[desk.name], desk.unit)
    print_rows(table, right=[2])
    print_text(SAVED)
    click.echo()
    _close(answer, desk.labels, whole=check_wanted)


@click.command("outlook")
@answer_options
def outlook_command(
    png: Path | None,
    svg: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show whether another cone is worth printing.

    `stop`: the best cone is within 5 % of what is possible with a probability of 90 %, and one
    more is expected to gain under a quarter of the repeatability. `nearly there`: it is within
    5 % or the repeatability, whichever is more, with 60 %, and one more is expected to gain
    under half the repeatability. Else `go on`. Cones not yet measured count as not there. Where
    the plan trades its metrics: what the front covers, and what one more cone adds to it.
    """
    with _desk(folder, seed, "weighing one more cone") as desk:
        answer = outlook(desk.plan, desk.trials, **desk.common)
    trades = answer.volume.known
    save_picture(
        lambda: (
            figures.draw_front(
                front(desk.plan, desk.trials, desk.seed, model=desk.model),
                desk.plan.metrics,
                labels=desk.labels,
            )
            if trades
            else figures.draw_outlook(answer, metric=desk.name, unit=desk.unit)
        ),
        png,
        svg,
        answer.text,
    )
    if json_wanted:
        print_json(answer)
        return
    print_rows(outlook_table(answer, desk.unit))
    print_text(FRONT_RULE if trades else RULE)
    click.echo()
    _close(answer, desk.labels, whole=check_wanted)


@click.command("front")
@click.option(
    "--between",
    metavar="METRIC,METRIC",
    default="",
    help="Two or three metrics with a goal; all that have one by default.",
)
@answer_options
def front_command(
    between: str,
    png: Path | None,
    svg: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show the front between metrics that pull apart.

    For two or three metrics with a goal. A recipe is on the front if no other measured one is as
    good in all of them and better in one; the chance counts what is not known of each.
    """
    with _desk(folder, seed, "drawing the front") as desk:
        names = [each.strip() for each in between.split(",") if each.strip()]
        answer = front(desk.plan, desk.trials, between=names, **desk.common)
    metrics = desk.plan.metrics
    save_picture(
        lambda: figures.draw_front(answer, metrics, labels=desk.labels), png, svg, answer.text
    )
    if json_wanted:
        print_json(answer)
        return
    if answer.members:
        units = {name: metric.unit for name, metric in metrics.items()}
        print_rows(front_table(answer, units, desk.labels))
    _close(answer, desk.labels, whole=check_wanted)
