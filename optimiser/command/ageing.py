"""Verb: ageing."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser import ageing, figures, wording
from optimiser.ageing_tables import (
    crossing_table,
    drift_table,
    law_table,
    score_table,
    setting_table,
)
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

_CLOCKS = {"light": "light_hours", "days": "age_days"}


@click.command("ageing")
@click.option(
    "--by",
    type=click.Choice(list(_CLOCKS)),
    default="light",
    show_default=True,
    help="Count age in hours of light or in days.",
)
@click.option(
    "--at", type=NUMBER, metavar="TIME", help="Show the kept cones' scores after so long."
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
    Temperature and humidity are not recorded, so nothing is said of them.
    """
    if at is not None and at < 0:
        raise click.BadParameter(f"--at: found {at:g}, expected a time of 0 or more")
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
    tables = [drift_table(answer)] if answer.metrics else []
    tables += [law_table(answer), crossing_table(answer), setting_table(answer)]
    if at is not None:
        tables.append(
            score_table(answer, labels[wording.score_name(plan)], wording.score_unit(plan))
        )
    for table in tables:
        if table.rows:
            print_rows(table)
    print_text(answer.text)
    print_notes(answer.notes, title="Notes")
