"""Verb: recommend."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser import figures, fit, recommend, wording
from optimiser.command.options import answer_options
from optimiser.command.show import (
    print_calibration,
    print_json,
    print_notes,
    print_rows,
    print_text,
    progress,
    save_picture,
)
from optimiser.production_tables import recommendation_tables

__all__ = ["recommend_command"]


@click.command("recommend")
@answer_options
def recommend_command(
    png: Path | None,
    svg: Path | None,
    check_wanted: bool,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show which recipe to put into production, and how to confirm it.

    The best expected score over what the printer makes of a recipe: `tolerance` in the plan's
    variables is the standard deviation of what is really made about a setting. At least 0.8 of
    the prints must come off the printer and keep every hard limit, where a recipe can. Strayed
    settings may lie off the steps, a little beyond low and high, and across a rule: rules bind
    what you choose, not what becomes of it.
    """
    with Ledger.open(folder) as ledger:
        plan, trials = ledger.plan, ledger.table()
    start = plan.seed if seed is None else seed
    with progress("seeking the recipe for production") as tell:
        model = fit(plan, trials, seed=start)
        answer = recommend(plan, trials, start, model=model, progress=tell)
    name, unit = wording.score_name(plan), wording.score_unit(plan)
    labels = wording.describe(plan)
    save_picture(
        lambda: figures.draw_recommendation(answer, metric=name, unit=unit), png, svg, answer.text
    )
    if json_wanted:
        print_json(answer)
        return
    for table in recommendation_tables(answer, plan, labels):
        print_rows(table)
    print_text(answer.text)
    click.echo()
    print_calibration(answer.calibration, answer.cones, labels, whole=check_wanted)
    print_notes(answer.notes)
