"""Verbs over the history: undo, history."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from experiments.ledger import Ledger
from optimiser import wording
from optimiser.cards import withdraw_cards
from optimiser.command.options import as_json, in_folder
from optimiser.command.show import print_json, print_table

__all__ = ["history_command", "undo_command"]

_NUMBERS = {"mass": "g", "minutes": "min"}
"""What may be given with an act, and its unit."""


@click.command("undo")
@in_folder
@as_json
def undo_command(folder: Path, json_wanted: bool) -> None:
    """Take the last recorded act back.

    Print cards of cones that are no more are removed; their numbers are not given again.
    """
    with Ledger.open(folder) as ledger:
        before = {cone.number for cone in ledger.cones()}
        told = ledger.undo()
        gone = sorted(before - {cone.number for cone in ledger.cones()})
    cards = withdraw_cards(folder, gone)
    if json_wanted:
        print_json({"undone": told, "cards_removed": [str(path) for path in cards]})
        return
    click.echo(told)
    for path in cards:
        click.echo(f"removed card: {path}")
    if cards:
        click.echo("Throw printed copies away: no number is given twice.")


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
            _told(row),
        ]
        for row in frame.to_dict(orient="records")
    ]
    print_table("", ["act", "when (UTC)", "who", "what"], rows, right=[0])


def _told(row: Mapping[Any, Any]) -> str:
    """Say what an act was, and what was said with it."""
    given = row["arguments"]
    numbers = [
        wording.with_unit(wording.setting(given[name]), unit)
        for name, unit in _NUMBERS.items()
        if given.get(name) is not None
    ]
    changed = given.get("changes")
    changes = [
        f"{name}={'none' if value is None else wording.setting(value)}"
        for name, value in (changed.items() if isinstance(changed, Mapping) else ())
    ]
    words = [given[name] for name in ("why", "note", "text") if given.get(name)]
    details = "; ".join([*numbers, *changes, *words])
    text = row["summary"] + (" (undone)" if row["undone"] else "")
    return f"{text}: {details}" if details else text
