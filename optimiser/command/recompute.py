"""Verb: recompute."""

from __future__ import annotations

from pathlib import Path

import click
import pandas as pd

from experiments.ledger import Ledger
from experiments.recomputing import recompute
from optimiser import wording
from optimiser.command.options import as_json, in_folder
from optimiser.command.show import print_json, print_notes, print_table, progress

__all__ = ["recompute_command"]


@click.command("recompute")
@click.option("--dry-run", is_flag=True, help="Only show what would change; record nothing.")
@click.option(
    "--keep",
    multiple=True,
    metavar="NAME",
    help="Entered values of this metric, or settings of this variable, stand as they are, though "
    "its unit changed; may be repeated.",
)
@in_folder
@as_json
def recompute_command(
    dry_run: bool, keep: tuple[str, ...], folder: Path, json_wanted: bool
) -> None:
    """Bring every metric up to a plan that changed.

    Metrics are computed again from the stored raw files, under the plan as it is now. Each file
    is read as it was when it was measured; keys of [rig.files] that were not stated then are
    added. Values under the old name of a metric (was) come under the new one. Entered values
    stay. They and the settings of cones are converted where their unit changed between mg, g and
    kg, between ms, s, min and h, or between Hz and kHz; settings between lengths, too. One act:
    `coneloop undo` takes it back.
    """
    with Ledger.open(folder) as ledger:
        with progress("listening to every file again"):
            changed = recompute(ledger, only_show=dry_run, keep=keep)
        labels = wording.describe(ledger.plan)
    if json_wanted:
        notes = changed.attrs["notes"]
        print_json({"changes": changed, "recorded": not dry_run, "notes": notes})
        return
    if len(changed):
        heads = ["metric", "cone", "session", "before", "after"]
        print_table("", heads, _rows(changed, labels), right=[1])
    else:
        click.echo("no value differs")
    print_notes(changed.attrs["notes"])
    click.echo("nothing was recorded (--dry-run)" if dry_run else "the table follows the plan")


def _rows(changed: pd.DataFrame, labels: dict[str, str]) -> list[list[str]]:
    """Give one row a value, metric by metric; the stored number has the unit of its day."""
    ordered = changed.sort_values(["metric", "cone", "measurement"], kind="stable")
    return [
        [
            labels[str(row["metric"])],
            str(row["cone"]),
            str(row["session"]),
            before,
            wording.with_unit(after, str(row["unit"])),
        ]
        for row in ordered.to_dict(orient="records")
        for before, after in [_apart(float(row["before"]), float(row["after"]))]
    ]


def _apart(before: float, after: float) -> tuple[str, str]:
    """Write two values that differ with as many digits as that takes."""
    shown = wording.number(before), wording.number(after)
    return shown if shown[0] != shown[1] else (f"{before:.9g}", f"{after:.9g}")
