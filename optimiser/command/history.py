"""Verbs over the history: undo, history."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser.act_words import act_line
from optimiser.cards import withdraw_cards
from optimiser.command.options import Whole, as_json, in_folder
from optimiser.command.show import print_json, print_table

__all__ = ["history_command", "undo_command"]


@click.command("undo")
@click.option(
    "--to",
    "last",
    type=Whole(min=1),
    metavar="ACT",
    help="Take every act after this one of the history back.",
)
@in_folder
@as_json
def undo_command(last: int | None, folder: Path, json_wanted: bool) -> None:
    """Take the last recorded act back; again and again, to the start.

    Print cards of cones that are no more are removed; their numbers are not given again.
    """
    with Ledger.open(folder) as ledger:
        before = {cone.number for cone in ledger.cones()}
        told = [ledger.undo()] if last is None else ledger.undo_to(last)
        gone = sorted(before - {cone.number for cone in ledger.cones()})
    cards = withdraw_cards(folder, gone)
    text = "\n".join(told) or f"nothing to undo: act {last} is the last one in force"
    if json_wanted:
        print_json({"undone": text, "cards_removed": [str(path) for path in cards]})
        return
    click.echo(text)
    for path in cards:
        click.echo(f"removed card: {path}")
    if cards:
        click.echo("Throw printed copies away: no number is given twice.")


@click.command("history")
@click.argument("cone", type=Whole(min=1), required=False, metavar="[CONE]")
@click.option(
    "--limit",
    type=Whole(min=1),
    default=20,
    show_default=True,
    metavar="N",
    help="How many acts at most.",
)
@in_folder
@as_json
def history_command(cone: int | None, limit: int, folder: Path, json_wanted: bool) -> None:
    """Show what was recorded, newest first: all, or what touched one cone."""
    with Ledger.open(folder) as ledger:
        frame = ledger.history(limit, cone=cone)
    if json_wanted:
        print_json(frame)
        return
    rows = [
        [
            str(row["id"]),
            str(row["at"])[:16].replace("T", " "),
            str(row["who"]),
            act_line(row),
        ]
        for row in frame.to_dict(orient="records")
    ]
    print_table("", ["act", "when (UTC)", "who", "what"], rows, right=[0])
