"""Verbs that answer a question from the model: knobs, optimum, compare, deadends, outlook."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click
import pandas as pd
from rich.text import Text

from experiments.ledger import Ledger
from experiments.plan import Plan
from optimiser import compare, dead_ends, figures, fit, optimum, outlook, sensitivity, wording
from optimiser.answers import Estimate, Variant
from optimiser.command.options import answer_options, parse_pairs
from optimiser.command.show import (
    console,
    print_calibration,
    print_json,
    print_notes,
    print_table,
    progress,
    save_picture,
)
from optimiser.surrogate import Model

__all__ = [
    "compare_command",
    "deadends_command",
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


@contextmanager
def _desk(folder: Path, seed: int | None, title: str) -> Iterator[_Desk]:
    """Open the experiment and fit the model, showing how far it is."""
    with Ledger.open(folder) as ledger:
        plan, trials = ledger.plan, ledger.table()
        start = plan.seed if seed is None else seed
        with progress(title) as tell:
            model = fit(plan, trials, seed=start)
            yield _Desk(ledger, plan, trials, start, model, tell)


def _close(answer: Any) -> None:
    """Print what stands below every answer: the text, the calibration, the notes."""
    console().print(Text(answer.text))
    click.echo()
    print_calibration(answer.calibration, answer.cones)
    print_notes(answer.notes)


def _known(name: str, names: Any, kind: str) -> None:
    if name not in names:
        raise click.UsageError(f"found {kind} {name!r}, expected one of: {', '.join(names)}")


@click.command("knobs")
@click.option("--metric", default="score", show_default=True, help="A metric of the plan.")
@answer_options
def knobs_command(
    metric: str,
    png: Path | None,
    svg: Path | None,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show which variables matter, and how much.

    First-order and total Sobol indices with their 90 % intervals; the picture shows the main
    effects. `alone` is what the variable does by itself, `in all` includes its company.
    """
    with _desk(folder, seed, "weighing the knobs") as desk:
        _known(metric, ["score", *desk.plan.metrics], "metric")
        answer = sensitivity(desk.plan, desk.trials, metric=metric, **desk.common)
        values = desk.model.scores(desk.trials) if metric in ("score", desk.name) else None
    save_picture(
        lambda: figures.draw_effects(answer, desk.trials, values, labels=desk.labels),
        png,
        svg,
        answer.text,
    )
    if json_wanted:
        print_json(answer)
        return
    rows = [
        [
            desk.labels.get(knob.variable, knob.variable),
            wording.interval(knob.first, most=2),
            wording.interval(knob.total, most=2),
            knob.verdict,
        ]
        for knob in answer.knobs
    ]
    title = f"What moves {desk.labels.get(metric, metric)} (share of its variance, 90 % intervals)"
    print_table(title, ["variable", "alone", "in all", "verdict"], rows)
    _close(answer)


@click.command("optimum")
@click.argument("variable")
@answer_options
def optimum_command(
    variable: str,
    png: Path | None,
    svg: Path | None,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show where the best setting of one variable lies."""
    with _desk(folder, seed, "looking for the optimum") as desk:
        _known(variable, desk.plan.variables, "variable")
        answer = optimum(desk.plan, desk.trials, variable=variable, **desk.common)
    save_picture(
        lambda: figures.draw_optimum(answer, labels=desk.labels, metric=desk.name, unit=desk.unit),
        png,
        svg,
        answer.text,
    )
    if json_wanted:
        print_json(answer)
        return
    if answer.setting is not None:
        rows = [["best", wording.with_unit(wording.setting(answer.setting), answer.unit)]]
        if answer.low is not None and answer.high is not None:
            ends = f"{wording.setting(answer.low)} to {wording.setting(answer.high)}"
            rows.append(["90 % interval", wording.with_unit(ends, answer.unit)])
        good = _span(answer.as_good)
        if good:
            rows.append(["as good as best", wording.with_unit(good, answer.unit)])
        print_table(desk.labels[variable].capitalize(), ["", ""], rows)
    _close(answer)


def _span(settings: list[Any]) -> str:
    """Write settings as a range where they are many numbers, else one by one."""
    if len(settings) > 4 and not isinstance(settings[0], str):
        return f"{wording.setting(min(settings))} to {wording.setting(max(settings))}"
    return ", ".join(wording.setting(each) for each in settings)


@click.command("compare")
@click.argument("a")
@click.argument("b")
@answer_options
def compare_command(
    a: str,
    b: str,
    png: Path | None,
    svg: Path | None,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show whether one cone or recipe beats another.

    A and B are cone numbers, or complete recipes as variable=value,variable=value. A recipe may
    start from a cone: 7,cure_time=20.
    """
    with _desk(folder, seed, "comparing") as desk:
        recipes = [_recipe(desk, text) for text in (a, b)]
        answer = compare(desk.plan, desk.trials, a=recipes[0], b=recipes[1], **desk.common)
    names = [f"cone {text}" if text.isdigit() else letter for text, letter in ((a, "A"), (b, "B"))]
    units = {name: metric.unit for name, metric in desk.plan.metrics.items()}
    save_picture(
        lambda: figures.draw_comparison(
            answer, a=names[0], b=names[1], units=units, labels=desk.labels
        ),
        png,
        svg,
        answer.text,
    )
    if json_wanted:
        print_json(answer)
        return
    differences: dict[str, Estimate] = {"score": answer.score, **answer.difference}
    rows = [
        [desk.labels.get(name, name), wording.interval(each, units.get(name, ""))]
        for name, each in differences.items()
    ]
    print_table(
        f"{names[0]} minus {names[1]}",
        ["metric", "difference of the recipes, 90 % interval"],
        rows,
    )
    _close(answer)


def _recipe(desk: _Desk, text: str) -> dict[str, Any]:
    """Read a cone number, a recipe, or a cone with changes."""
    parts = [part for part in _split(text) if part]
    settings: dict[str, Any] = {}
    if parts and parts[0].isdigit():
        settings.update(desk.ledger.cone(int(parts.pop(0))).settings)
    changes = parse_pairs(tuple(parts), f"recipe {text!r}")
    if not settings and not changes:
        raise click.UsageError(f"found {text!r}, expected a cone number or variable=value,…")
    if not changes:
        return settings
    for name, value in changes.items():
        if value.lower() == "none":
            settings.pop(name, None)
        else:
            settings[name] = value
    return dict(desk.ledger.space.complete(settings, off_grid=True))


def _split(text: str) -> list[str]:
    """Split at commas and semicolons, but not at a decimal comma (``exposure=2,5``)."""
    parts: list[str] = []
    for piece in text.replace(";", ",").split(","):
        piece = piece.strip()
        whole = parts and "=" in parts[-1] and parts[-1].rpartition("=")[2].isdigit()
        if whole and piece.isdigit():
            parts[-1] += f",{piece}"
        else:
            parts.append(piece)
    return parts


@click.command("deadends")
@answer_options
def deadends_command(
    png: Path | None, svg: Path | None, seed: int | None, folder: Path, json_wanted: bool
) -> None:
    """Show which levels and regions can be given up."""
    with _desk(folder, seed, "looking for dead ends") as desk:
        answer = dead_ends(desk.plan, desk.trials, **desk.common)
    save_picture(lambda: figures.draw_dead_ends(answer, labels=desk.labels), png, svg, answer.text)
    if json_wanted:
        print_json(answer)
        return
    rows = [
        [
            name,
            variant.where,
            wording.percent(variant.probability),
            wording.interval(variant.loss, desk.unit, most=3),
            variant.verdict,
        ]
        for variant, name in zip(answer.variants, _once(answer.variants, desk.labels), strict=True)
    ]
    heads = ["variable", "where", "chance", f"{desk.name} lost without it", "verdict"]
    print_table("Where the best recipe can still lie", heads, rows, right=[2])
    _close(answer)


def _once(variants: list[Variant], labels: dict[str, str]) -> list[str]:
    """Name each variable on the first of its rows only."""
    names = [labels.get(variant.variable, variant.variable) for variant in variants]
    return ["" if place and names[place - 1] == name else name for place, name in enumerate(names)]


@click.command("outlook")
@answer_options
def outlook_command(
    png: Path | None, svg: Path | None, seed: int | None, folder: Path, json_wanted: bool
) -> None:
    """Show whether another cone is worth printing."""
    with _desk(folder, seed, "weighing one more cone") as desk:
        answer = outlook(desk.plan, desk.trials, **desk.common)
    save_picture(
        lambda: figures.draw_outlook(answer, metric=desk.name, unit=desk.unit),
        png,
        svg,
        answer.text,
    )
    if json_wanted:
        print_json(answer)
        return
    rows = [["verdict", answer.verdict]]
    if answer.best is not None:
        rows.append(["best so far", f"cone {answer.best}"])
    rows.append(["expected gain of one more", wording.interval(answer.gain, desk.unit, most=3)])
    repeat = wording.with_unit(
        wording.number(answer.repeatability, answer.repeatability), desk.unit
    )
    rows.append(["repeatability (sd)", repeat])
    for share, chance in sorted(answer.within.items()):
        rows.append(
            [f"best within {100 * share:g} % of what is possible", wording.percent(chance)]
        )
    print_table("Outlook", ["", ""], rows)
    _close(answer)
