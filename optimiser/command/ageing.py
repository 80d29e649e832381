"""Verb: ageing."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser import ageing, figures, wording
from optimiser.ageing_tables import ageing_tables
from optimiser.command.options import NUMBER, as_json, in_folder, picture_files, random_seed
from optimiser.command.show import (
    print_json,
    print_notes,
    print_rows,
    print_text,
    progress,
    save_picture,
)

__all__ = ["ageing_command"]

_CLOCKS = {
    "light": "light_hours",
    "days": "age_days",
    "temperature": "temperature_c",
    "humidity": "humidity_percent",
}


@click.command("ageing")
@click.option(
    "--by",
    type=click.Choice(list(_CLOCKS)),
    default="light",
    show_default=True,
    help="Count age in hours of light or in days; or follow the room's climate.",
)
@click.option(
    "--at",
    type=NUMBER,
    metavar="TIME",
    help="Show the kept cones' scores after so long; the plan's age unless given.",
)
@picture_files
@random_seed
@in_folder
@as_json
def ageing_command(
    by: str,
    at: float | None,
    png: Path | None,
    svg: Path | None,
    seed: int | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Show how kept cones drift with light or days.

    Cones measured again with `measure --light-hours` or `--age-days` tell each metric's drift,
    the law it follows, when a limit is crossed, which settings slow it, and what to measure next.
    With `--temperature` and `--humidity` recorded, a warm session is not taken for ageing, and
    `--by temperature` or `--by humidity` tells what either does to each metric.
    """
    if at is not None and at < 0:
        raise click.BadParameter(f"--at: found {at:g}, expected a time of 0 or more")
    if at is not None and by not in ("light", "days"):
        raise click.BadParameter(f"--at: found --by {by}, expected light or days, which age cones")
    with Ledger.open(folder) as ledger:
        plan, trials = ledger.plan, ledger.wide_table(strict=True)
    start = plan.seed if seed is None else seed
    with progress("comparing the kept cones' ages") as tell:
        answer = ageing(plan, trials, _CLOCKS[by], at=at, seed=start, progress=tell)
    labels = wording.describe(plan)
    save_picture(lambda: figures.draw_ageing(answer, labels=labels), png, svg, answer.text)
    if json_wanted:
        print_json(answer)
        return
    score, unit = labels[wording.score_name(plan)], wording.score_unit(plan)
    for table in ageing_tables(answer, score, unit):
        print_rows(table)
    print_text(answer.text)
    print_notes(answer.notes, title="Notes")
