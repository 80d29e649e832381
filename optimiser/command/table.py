"""Verb: table."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click
import pandas as pd

from experiments.circumstances import CIRCUMSTANCES
from experiments.ledger import Ledger
from experiments.trials import LEADING
from optimiser import wording
from optimiser.command.options import as_json, in_folder
from optimiser.command.show import console, print_json, print_table
from optimiser.command.spread import show_spread
from optimiser.goals import measured_scores
from optimiser.remarks import odd_entries

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["table_command"]

_GAP = 2


@click.command("table")
@click.option(
    "--spread",
    "spread_wanted",
    is_flag=True,
    help="Show how far measurements scatter, and why, in place of the table.",
)
@in_folder
@as_json
def table_command(spread_wanted: bool, folder: Path, json_wanted: bool) -> None:
    """Show the table of trials.

    One row a measurement; cones that were not measured have one row. The score is that of the
    measured values. A table wider than the
    terminal is shown in parts, each with the cone's number. Reasons and notes come last, cut to
    fit; `coneloop history` has them whole.

    With --spread: for each metric the standard deviation from measurement to measurement of a
    cone, from print to print of a recipe, and from session to session.
    """
    with Ledger.open(folder) as ledger:
        plan = ledger.plan
        trials = ledger.table() if spread_wanted else ledger.full_table()
        left_out = ledger.disagreements()
    if spread_wanted:
        show_spread(plan, trials, json_wanted=json_wanted)
        return
    trials["score"] = measured_scores(plan, trials)
    for problem in left_out:
        click.echo(f"left out of the table: {problem}", err=True)
    if json_wanted:
        trials["notes"] = _notes(trials)
        names = [*LEADING, *plan.variables, *plan.metrics, "print_minutes", "why", "notes"]
        names += [] if wording.score_name(plan) in plan.metrics else ["score"]
        print_json(trials[names])
        return
    if not len(trials):
        click.echo("no cone yet; `coneloop next` proposes the first ones")
        return
    width = console().width - 2
    columns = _columns(plan, trials)
    first = [columns[0]]
    columns += _remarks(trials, width - _width(first[0]) - _GAP)
    for part in _parts(columns[1:], first, width):
        shown = [*first, *part]
        rows = [list(row) for row in zip(*(cells for _, cells in shown), strict=True)]
        print_table("", [head for head, _ in shown], rows)
        click.echo()
    for remark in odd_entries(plan, trials):
        click.echo(f"note: {remark}; correct it in the exported table if it is a slip", err=True)


def _columns(plan: Plan, trials: pd.DataFrame) -> list[tuple[str, list[str]]]:
    """Give each column's head and cells; columns without any value are left out."""
    columns = [("cone", [wording.setting(cone) for cone in trials["cone"]])]
    columns.append(("status", [str(status) for status in trials["status"]]))
    for name in ("plate", "session", *CIRCUMSTANCES):
        if name in trials and trials[name].notna().any():
            one = CIRCUMSTANCES.get(name)
            head = _head(one.words, one.unit) if one else name
            columns.append((head, [_cell(v) for v in trials[name]]))
    for variable in plan.variables.values():
        head = _head(variable.label, variable.unit)
        columns.append((head, [_cell(v) for v in trials[variable.name]]))
    if trials["print_minutes"].notna().any():
        columns.append((_head("print time", "min"), [_cell(v) for v in trials["print_minutes"]]))
    for metric in plan.metrics.values():
        head = _head(metric.label, metric.unit)
        columns.append((head, wording.column(trials[metric.name])))
    if trials["score"].notna().any() and wording.score_name(plan) not in plan.metrics:
        columns.append(("score", wording.column(trials["score"])))
    return columns


def _notes(trials: pd.DataFrame) -> list[list[str]]:
    """Give what was noted on the cone and on the measurement, each once."""
    pairs = zip(trials["remark"], trials["note"], strict=True)
    return [[text for text in dict.fromkeys(pair) if text] for pair in pairs]


def _remarks(trials: pd.DataFrame, room: int) -> list[tuple[str, list[str]]]:
    """Give a column of reasons and notes, cut to the room; none where nothing was said."""
    # What belongs to the cone stands on its first row only, or it would hide the others' own.
    first = ~trials["cone"].duplicated()
    of_cones = trials["why"].where(first, ""), trials["remark"].where(first, "")
    texts = [
        " ".join("; ".join(filter(None, dict.fromkeys(parts))).split())
        for parts in zip(*of_cones, trials["note"], strict=True)
    ]
    if not any(texts):
        return []
    cut = [text if len(text) <= room else f"{text[: room - 1].rstrip()}…" for text in texts]
    return [("reason, notes", cut)]


def _cell(value: object) -> str:
    missing = value is None or value is pd.NA or value != value
    return wording.UNKNOWN if missing else wording.setting(value)


def _head(label: str, unit: str) -> str:
    """Break a head over lines, so that columns stay narrow."""
    words = "\n".join(label.split())
    return f"{words}\n({unit})" if unit else words


def _width(column: tuple[str, list[str]]) -> int:
    head, cells = column
    return max(map(len, [*head.split("\n"), *cells])) + _GAP


def _parts(
    columns: list[tuple[str, list[str]]], first: list[tuple[str, list[str]]], width: int
) -> list[list[tuple[str, list[str]]]]:
    """Share columns out into parts that fit the width together with the first column."""
    room = width - sum(map(_width, first))
    parts: list[list[tuple[str, list[str]]]] = [[]]
    used = 0
    for column in columns:
        if parts[-1] and used + _width(column) > room:
            parts.append([])
            used = 0
        parts[-1].append(column)
        used += _width(column)
    return parts
