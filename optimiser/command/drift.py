"""Verb: drift."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import click
from rich.text import Text

from experiments.ledger import Ledger
from optimiser import figures, wording
from optimiser.answers import Estimate
from optimiser.command.options import as_json, in_folder, picture_files
from optimiser.command.show import (
    console,
    print_json,
    print_notes,
    print_table,
    progress,
    save_picture,
)
from optimiser.drift import rig_drift
from optimiser.uncertainty import Chart, Drift, Offset

__all__ = ["drift_command"]

_ABREAST = 3  # metrics beside each other in the table of offsets


@click.command("drift")
@picture_files
@in_folder
@as_json
def drift_command(png: Path | None, svg: Path | None, folder: Path, json_wanted: bool) -> None:
    """Show whether the rig moves from session to session.

    The reference cone's readings are charted against their own limits (individuals chart, from
    five sessions on). The offsets come from every cone and recipe heard in several sessions.
    """
    with Ledger.open(folder) as ledger:
        plan, trials = ledger.plan, ledger.wide_table()
    with progress("comparing the sessions") as tell:
        answer = rig_drift(plan, trials, progress=tell)
    labels = wording.describe(plan)
    save_picture(lambda: figures.draw_drift(answer, labels=labels), png, svg, answer.text)
    if json_wanted:
        print_json(answer)
        return
    if answer.sittings:
        rows = [[each.session, each.verdict, each.text] for each in answer.sittings]
        print_table("Sessions", ["session", "verdict", ""], rows)
    _print_charts(answer.charts)
    _print_offsets(answer, labels)
    console().print(Text(answer.text))
    print_notes(answer.notes, title="Notes")


def _print_charts(charts: Sequence[Chart]) -> None:
    """Print each metric's centre, limits and newest reading."""
    if not charts:
        return
    rows = [
        [
            chart.label,
            wording.with_unit(wording.number(chart.centre, chart.sd), chart.unit),
            _limits(chart),
            wording.number(chart.values[-1], chart.sd),
            str(len(chart.values)),
        ]
        for chart in charts
    ]
    heads = ["metric", "centre", "limits", "newest", "sessions"]
    print_table("Readings of the reference cone", heads, rows, right=[4])


def _limits(chart: Chart) -> str:
    if not math.isfinite(chart.sd):
        return "too few"
    return f"{wording.number(chart.low, chart.sd)} to {wording.number(chart.high, chart.sd)}"


def _print_offsets(answer: Drift, labels: dict[str, str]) -> None:
    """Print the offsets, some metrics abreast; metrics that tell none are left out."""
    known: dict[str, list[Offset]] = {}
    for offset in answer.offsets:
        known.setdefault(offset.metric, []).append(offset)
    told = {name: each for name, each in known.items() if any(o.offset.known for o in each)}
    names = list(told)
    for start in range(0, len(names), _ABREAST):
        part = names[start : start + _ABREAST]
        columns = [[_offset(each.offset) for each in told[name]] for name in part]
        sessions = [each.session for each in told[part[0]]]
        heads = ["session", *(f"{labels[name]}\n({_unit(told[name][0])})" for name in part)]
        title = "Offsets of the sessions, 90 % intervals" if start == 0 else ""
        rows = [list(row) for row in zip(sessions, *columns, strict=True)]
        print_table(title, heads, rows)


def _unit(offset: Offset) -> str:
    return "% of value" if offset.relative else offset.unit


def _offset(estimate: Estimate) -> str:
    """Write an offset with its interval, or a dash."""
    return wording.interval(estimate) if estimate.known else wording.UNKNOWN
