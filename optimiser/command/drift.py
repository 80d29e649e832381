"""Verb: drift."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser import figures, wording
from optimiser.answer_tables import Table, chart_table, offset_table, sitting_table
from optimiser.command.options import as_json, in_folder, picture_files
from optimiser.command.show import (
    print_json,
    print_notes,
    print_rows,
    print_table,
    print_text,
    progress,
    save_picture,
)
from optimiser.drift import rig_drift

__all__ = ["drift_command"]

_ABREAST, _STARRED = 3, 2  # metrics beside each other in the table of offsets, plain and starred


@click.command("drift")
@picture_files
@in_folder
@as_json
def drift_command(png: Path | None, svg: Path | None, folder: Path, json_wanted: bool) -> None:
    """Show whether the rig moves from session to session.

    The reference cone's readings are charted against their own limits (individuals chart, from
    five sessions on). The offsets come from every cone and recipe heard in several sessions.

    A session is `shifted` where a reading left the chart's limits, `offset` where none did but
    an offset is told from 0, and `steady` where neither is so.
    """
    with Ledger.open(folder) as ledger:
        plan, trials = ledger.plan, ledger.wide_table(strict=True)
    with progress("comparing the sessions") as tell:
        answer = rig_drift(plan, trials, progress=tell)
    labels = wording.describe(plan)
    save_picture(lambda: figures.draw_drift(answer, labels=labels), png, svg, answer.text)
    if json_wanted:
        print_json(answer)
        return
    if answer.sittings:
        print_rows(sitting_table(answer))
    if answer.charts:
        print_rows(chart_table(answer.charts), right=[4])
    _print_offsets(offset_table(answer, labels))
    print_text(answer.text)
    print_notes(answer.notes, title="Notes")


def _print_offsets(table: Table) -> None:
    """Print the offsets, some metrics abreast."""
    abreast = _STARRED if any("*" in cell for row in table.rows for cell in row) else _ABREAST
    for start in range(1, len(table.heads), abreast):
        part = slice(start, start + abreast)
        heads = [table.heads[0], *(head.replace(" (", "\n(") for head in table.heads[part])]
        rows = [[row[0], *row[part]] for row in table.rows]
        print_table(table.title if start == 1 else "", heads, rows)
