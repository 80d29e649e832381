"""What ``table --spread`` prints."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import click
from rich.text import Text

from optimiser import wording
from optimiser.command.show import console, print_json, print_notes, print_table, progress
from optimiser.spread import estimate_spread
from optimiser.uncertainty import Component, MetricSpread

if TYPE_CHECKING:
    import pandas as pd

    from experiments.plan import Plan

__all__ = ["show_spread"]


def show_spread(plan: Plan, trials: pd.DataFrame, *, json_wanted: bool) -> None:
    """Print how far measurements scatter.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement.
    json_wanted : bool
        Print one JSON document instead.
    """
    with progress("splitting the spread") as tell:
        answer = estimate_spread(plan, trials, progress=tell)
    if json_wanted:
        print_json(answer)
        return
    heads = ["metric", "source", "sd, 90 % interval", "df", "cones", "n"]
    rows = [row for metric in answer.metrics for row in _rows(metric)]
    print_table("Spread of the measurements", heads, rows, right=[3, 4, 5])
    scale = "%: of the metric's value; " if any(each.relative for each in answer.metrics) else ""
    click.echo(f"  {scale}df: independent comparisons; n: measurements\n")
    for metric in answer.metrics:
        console().print(Text(metric.text))
    console().print(Text(answer.text))
    remarks = [
        f"{each.source} of {metric.label}: {each.remark}"
        for metric in answer.metrics
        for each in metric.components
        if each.remark
    ]
    print_notes([*_gathered(remarks), *answer.notes], title="Notes")


def _rows(metric: MetricSpread) -> list[list[str]]:
    """Give one row a source; the metric is named on the first."""
    parts = [each for each in (*metric.components, metric.combined) if each.sd.known]
    parts = parts or metric.components[:1]
    return [
        [metric.label if place == 0 else "", *_cells(part, metric.unit)]
        for place, part in enumerate(parts)
    ]


def _cells(part: Component, unit: str) -> list[str]:
    if not part.sd.known:
        return ["", wording.interval(part.sd), "", "", ""]
    degrees = f"{part.degrees:.3g}" if math.isfinite(part.degrees) else wording.UNKNOWN
    counts = [degrees, str(part.sd.cones), str(part.measurements)]
    return [part.source, wording.interval(part.sd, unit), *counts]


def _gathered(remarks: list[str]) -> list[str]:
    """Say a remark once, with everything that it is about."""
    about: dict[str, list[str]] = {}
    for remark in remarks:
        what, _, why = remark.partition(": ")
        about.setdefault(why, []).append(what)
    return [f"{', '.join(what)}: {why}" for why, what in about.items()]
