"""Verbs over the history: undo, history."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser.command.options import as_json, in_folder
from optimiser.command.show import print_json, print_table

__all__ = ["history_command", "undo_command"]


@click.command("undo")
@in_folder
@as_json
def undo_command(folder: Path, json_wanted: bool) -> None:
    """Take the last recorded act back."""
    with Ledger.open(folder) as ledger:
        told = ledger.undo()
    if json_wanted:
        print_json({"undone": told})
    else:
        click.echo(told)


@click.command("history")
@click.option(
    "--limit",
    type=click.IntRange(min=1),
    default=20,
    show_default=True,
    metavar="N",
    help="How many acts at most.",
)
@in_folder
@as_json
def history_command(limit: int, folder: Path, json_wanted: bool) -> None:
    """Show what was recorded, newest first."""
    with Ledger.open(folder) as ledger:
        frame = ledger.history(limit)
    if json_wanted:
        print_json(frame)
        return
    rows = [
        [
            str(row["id"]),
            str(row["at"])[:16].replace("T", " "),
            str(row["who"]),
            str(row["summary"]) + (" (undone)" if row["undone"] else ""),
        ]
        for row in frame.to_dict(orient="records")
    ]
    print_table("", ["act", "when (UTC)", "who", "what"], rows, right=[0])
