"""Verbs that record what happened to a cone: printed, failed, aside, add."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from experiments.ledger import Ledger
from experiments.records import Cone
from optimiser import wording
from optimiser.command.options import (
    NUMBER,
    Whole,
    as_json,
    cone_argument,
    in_folder,
    name_pairs,
    parse_pairs,
)
from optimiser.command.remarks import print_remarks
from optimiser.command.show import print_json

__all__ = ["add_command", "aside_command", "failed_command", "printed_command"]

_mass = click.option("--mass", type=NUMBER, metavar="GRAMS", help="Mass of the print in grams.")
_minutes = click.option("--minutes", type=NUMBER, help="How long the print took.")
_note = click.option("--note", default="", metavar="TEXT", help="A remark.")


def _told(ledger: Ledger, cone: Cone, text: str, json_wanted: bool) -> None:
    """Print what was recorded."""
    if json_wanted:
        print_json(cone)
    else:
        click.echo(f"{text}: {wording.recipe_line(ledger.plan, cone.settings)}")


@click.command("printed")
@cone_argument
@_mass
@_minutes
@_note
@click.option(
    "--set",
    "pairs",
    multiple=True,
    metavar="VARIABLE=VALUE",
    help="A setting in which the print differed from the card; may be repeated. "
    "VARIABLE=none where it no longer applies.",
)
@in_folder
@as_json
def printed_command(
    cone: int,
    mass: float | None,
    minutes: float | None,
    note: str,
    pairs: tuple[str, ...],
    folder: Path,
    json_wanted: bool,
) -> None:
    """Record that a cone was printed."""
    with Ledger.open(folder) as ledger:
        changes = _changes(ledger, _settings(ledger, pairs))
        now = ledger.printed(cone, mass=mass, minutes=minutes, note=note, changes=changes or None)
        _told(ledger, now, f"cone {cone} printed", json_wanted)
        print_remarks(ledger, cone, {"mass": mass, "minutes": minutes}, changes)


def _settings(ledger: Ledger, pairs: tuple[str, ...]) -> dict[str, str]:
    """Read what was typed behind ``--set``; a variable may be called by its label."""
    return name_pairs(parse_pairs(pairs, "--set"), ledger.plan.variables, "--set")


def _changes(ledger: Ledger, pairs: dict[str, str]) -> dict[str, Any]:
    """Read ``none`` as 'does not apply', unless the variable has a level of that name."""
    changes: dict[str, Any] = {}
    for name, value in pairs.items():
        variable = ledger.plan.variables.get(name)
        known = (variable.levels or ()) if variable is not None else ()
        changes[name] = None if value.lower() == "none" and value not in known else value
    return changes


@click.command("failed")
@cone_argument
@click.option("--why", required=True, metavar="TEXT", help="What went wrong.")
@_note
@in_folder
@as_json
def failed_command(cone: int, why: str, note: str, folder: Path, json_wanted: bool) -> None:
    """Record that a cone failed.

    The next proposals learn from it what does not print.
    """
    with Ledger.open(folder) as ledger:
        _told(ledger, ledger.failed(cone, why=why, note=note), f"cone {cone} failed", json_wanted)


@click.command("aside")
@cone_argument
@click.option("--why", required=True, metavar="TEXT", help="Why it shall not count.")
@in_folder
@as_json
def aside_command(cone: int, why: str, folder: Path, json_wanted: bool) -> None:
    """Set a cone aside: it stays in the table and counts no more."""
    with Ledger.open(folder) as ledger:
        _told(ledger, ledger.set_aside(cone, why=why), f"cone {cone} set aside", json_wanted)


@click.command("add")
@click.option(
    "--set",
    "pairs",
    multiple=True,
    required=True,
    metavar="VARIABLE=VALUE",
    help="One setting; repeat it for each variable that applies.",
)
@click.option(
    "--status",
    type=click.Choice(["printed", "planned", "failed"]),
    default="printed",
    show_default=True,
    help="What the cone is.",
)
@click.option("--why", default="", metavar="TEXT", help="Why it failed.")
@click.option("--plate", type=Whole(min=1), help="The print job that carried it.")
@_mass
@_minutes
@_note
@in_folder
@as_json
def add_command(
    pairs: tuple[str, ...],
    status: str,
    why: str,
    plate: int | None,
    mass: float | None,
    minutes: float | None,
    note: str,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Add a cone made outside any proposal."""
    with Ledger.open(folder) as ledger:
        settings = _settings(ledger, pairs)
        number = ledger.add(
            settings,
            status=status,
            plate=plate,
            mass=mass,
            minutes=minutes,
            why=why,
            note=note,
        )
        _told(ledger, ledger.cone(number), f"cone {number} added as {status}", json_wanted)
        print_remarks(ledger, number, {"mass": mass, "minutes": minutes}, settings)
