"""Verb: expect."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from experiments.ledger import Ledger
from optimiser import expect, figures, wording
from optimiser.command.options import Whole, answer_options, name_pairs, parse_pairs
from optimiser.command.show import (
    print_calibration,
    print_json,
    print_notes,
    print_rows,
    print_text,
    progress,
    save_picture,
)
from optimiser.curve_readings import read_curves
from optimiser.curve_tables import expectation_tables, left_out_table
from optimiser.sides import changed

__all__ = ["expect_command"]


@click.command("expect")
@click.argument("cone", type=Whole(min=1), required=False)
@click.option(
    "--set",
    "pairs",
    multiple=True,
    metavar="VARIABLE=VALUE",
    help="One setting; repeat it for each variable that applies.",
)
@answer_options
def expect_command(
    cone: int | None,
    pairs: tuple[str, ...],
    png: Path | None,
    svg: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show the metrics and curves that a recipe is expected to give.

    A recipe is given setting by setting, or as a CONE with settings changed (VARIABLE=none where
    one then does not apply). A CONE alone is foretold with itself left out, against what it
    gave. Curves: response, distortion and decay with 90 % bands of one new measurement;
    --calibration shows how each cone's curves were foretold without it.
    """
    if cone is None and not pairs:
        raise click.UsageError("found neither CONE nor --set, expected a cone or a recipe")
    with Ledger.open(folder) as ledger, progress("foretelling the curves") as tell:
        plan, trials = ledger.plan, ledger.wide_table(strict=True)
        recipe = _recipe(ledger, cone, pairs) if pairs else None
        readings = read_curves(ledger, progress=lambda share, said: tell(0.3 * share, said))
        answer = expect(
            plan, trials, readings, recipe,
            cone=cone if recipe is None else None,
            seed=plan.seed if seed is None else seed,
            progress=lambda share, said: tell(0.3 + 0.7 * share, said),
        )  # fmt: skip
    save_picture(lambda: figures.draw_expectation(answer), png, svg, answer.text)
    if json_wanted:
        print_json(answer)
        return
    print_text(wording.recipe_line(plan, answer.settings))
    click.echo()
    tables = expectation_tables(plan, answer)
    tables += [left_out_table(answer)] if check_wanted and answer.checks else []
    for table in tables:
        print_rows(table)
    print_text(answer.text)
    click.echo()
    labels = wording.describe(plan)
    print_calibration(answer.calibration, answer.cones, labels, whole=check_wanted)
    print_notes(answer.notes)


def _recipe(ledger: Ledger, cone: int | None, pairs: tuple[str, ...]) -> dict[str, Any]:
    """Read the settings given, over those of a cone if there is one."""
    changes = name_pairs(parse_pairs(pairs, "--set"), ledger.plan.variables, "--set")
    return changed(ledger.cone(cone).settings if cone is not None else {}, changes)
