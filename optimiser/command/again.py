"""Verb: again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from experiments.errors import LedgerError, Problem
from experiments.ledger import Ledger
from experiments.proposed import Proposed
from optimiser import wording
from optimiser.command.earlier_folder import read_earlier
from optimiser.command.options import Whole, as_json, in_folder
from optimiser.command.picks import pick_record, print_pick
from optimiser.command.show import print_json, print_notes, print_table, print_text, progress
from optimiser.reproducing import Reproduced, reproduce

if TYPE_CHECKING:
    import pandas as pd

    from experiments.plan import Plan

__all__ = ["again_command"]


@click.command("again")
@click.argument("proposal", type=Whole(min=1), required=False)
@click.option("--list", "listed", is_flag=True, help="List the proposals instead.")
@click.option(
    "--learn-from",
    "earlier_folder",
    type=click.Path(path_type=Path),
    metavar="FOLDER",
    help="The finished experiment, where the proposal learned from one.",
)
@in_folder
@as_json
def again_command(
    proposal: int | None,
    listed: bool,
    earlier_folder: Path | None,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Repeat an earlier proposal and say what differs.

    The plan and the table of its day are rebuilt from the history. On the same versions and the
    same machine the result is the same to the last digit. Nothing is recorded.
    """
    with Ledger.open(folder) as ledger:
        known = ledger.proposals()
        if listed:
            _print_list(known, json_wanted)
            return
        one = _asked(known, proposal)
        stood = ledger.standing(one)
        earlier, notes = _earlier(one, earlier_folder, stood.plan, folder)
        if ledger.plan.digest != stood.plan.digest:
            notes.append("The plan has changed since; this is the one of that day.")
        with progress("choosing again") as tell:
            found = reproduce(one, stood, earlier=earlier, progress=tell)
    if json_wanted:
        print_json(
            {
                **_record(one),
                "same": not found.differences,
                "numbers": found.numbers,
                "differences": found.differences,
                "versions": found.versions,
                "data": found.data,
                "picks": [pick_record(pick, None, None) for pick in found.picks],
                "notes": notes,
            }
        )
        return
    _print(one, found, stood.plan, notes)


def _asked(known: list[Proposed], number: int | None) -> Proposed:
    found = next((one for one in known if one.number == number), None)
    if found is not None:
        return found
    numbers = ", ".join(str(one.number) for one in known[-8:])
    expected = f"the number of a proposal ({numbers})" if known else "a proposal; there is none"
    remedy = "`coneloop again --list` shows them." if known else ""
    what = "nothing" if number is None else f"{number}"
    raise LedgerError(Problem("PROPOSAL", what, expected, remedy))


def _earlier(
    one: Proposed, folder: Path | None, plan: Plan, own: Path
) -> tuple[pd.DataFrame | None, list[str]]:
    """Read the earlier experiment where the proposal learned from one."""
    learned = one.details.get("learned_from")
    if learned is None:
        unused = "--learn-from was passed over: the proposal learned from nothing."
        return None, [unused] if folder is not None else []
    if folder is None:
        found = f"a proposal that learned from {learned['name']!r}"
        remedy = "Name its folder."
        raise LedgerError(Problem("--learn-from", f"nothing, for {found}", "a folder", remedy))
    past = read_earlier(folder, plan, own)
    changed = past.record["data"] != learned["data"]
    note = "The earlier experiment has other data now than when the proposal learned from it."
    return past.trials, [note] if changed else []


def _record(one: Proposed) -> dict[str, object]:
    return {"proposal": one.number, "at": one.at, "cones": one.cones, "recorded": one.details}


def _print_list(known: list[Proposed], json_wanted: bool) -> None:
    if json_wanted:
        print_json({"proposals": [_record(one) for one in known]})
        return
    if not known:
        click.echo("no proposal is recorded")
        return
    rows = [
        [
            str(one.number),
            one.at[:16].replace("T", " "),
            ", ".join(map(str, one.cones)),
            str(one.details.get("seed", "")),
            one.plan[:12],
            str(one.details.get("data", ""))[:12],
            one.details.get("versions", {}).get("coneloop", ""),
        ]
        for one in known
    ]
    heads = ["proposal", "when (UTC)", "cones", "seed", "plan", "data", "coneloop"]
    print_table("", heads, rows, right=[0])


def _print(one: Proposed, found: Reproduced, plan: Plan, notes: list[str]) -> None:
    for pick in found.picks:
        print_pick(plan, pick, None)
        click.echo()
    cones = f"cone{'' if len(one.cones) == 1 else 's'} {', '.join(map(str, one.cones))}"
    head = f"Proposal {one.number} of {one.at[:10]} ({cones}, seed {one.details.get('seed')})"
    if not found.differences:
        compared = wording.many(found.numbers, "number") if found.numbers else "the recipes only"
        print_text(f"{head} comes out the same to the last digit: {compared} compared.")
    else:
        print_text(f"{head} comes out otherwise.")
        print_notes(found.differences[:12], title="What differs in the result")
        if len(found.differences) > 12:
            click.echo(f"    and {len(found.differences) - 12} more; --json lists all")
    print_notes(found.data, title="What differs in plan and data")
    print_notes(found.versions, title="What differs in versions")
    print_notes(notes)
