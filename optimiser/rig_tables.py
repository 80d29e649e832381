"""Repeatability and rig drift as tables of text."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from optimiser import wording
from optimiser.answers import Estimate
from optimiser.text_table import Table, shown
from optimiser.uncertainty import Chart, Component, Drift, Offset, Spread

__all__ = ["chart_table", "offset_table", "sitting_table", "spread_table", "within"]


def spread_table(answer: Spread) -> Table:
    """List each metric's sources of spread; the metric is named on its first row."""
    rows = []
    for metric in answer.metrics:
        parts = [each for each in (*metric.components, metric.combined) if each.sd.known]
        for place, part in enumerate(parts or metric.components[:1]):
            rows.append(["" if place else metric.label, *_source(part, metric.unit)])
    heads = ["metric", "source", "sd, 90 % interval", "df", "cones", "n"]
    return Table("Spread of the measurements", heads, rows, narrow=True)


def within(answer: Spread) -> list[tuple[str, str]]:
    """Say around which half width of its mean nine of ten new prints of a recipe measure."""
    return [
        (metric.label, wording.with_unit(wording.number(each, each), metric.unit))
        for metric in answer.metrics
        if math.isfinite(each := metric.expanded)
    ]


def _source(part: Component, unit: str) -> list[str]:
    if not part.sd.known:
        return ["", wording.interval(part.sd), "", "", ""]
    degrees = f"{part.degrees:.3g}" if math.isfinite(part.degrees) else wording.UNKNOWN
    counts = [degrees, str(part.sd.cones), str(part.measurements)]
    return [part.source, wording.interval(part.sd, unit), *counts]


def sitting_table(answer: Drift) -> Table:
    """List the verdict on each session."""
    rows = [[each.session, each.verdict, each.text] for each in answer.sittings]
    return Table("Sessions", ["session", "verdict", ""], rows)


def chart_table(charts: Sequence[Chart]) -> Table:
    """List each metric's centre, limits and newest reading of the reference cone."""
    rows = []
    for chart in charts:
        limits = Estimate(chart.centre, chart.low, chart.high)
        centre, low, high, newest = (
            wording.beside(each, limits)
            for each in (chart.centre, chart.low, chart.high, chart.values[-1])
        )
        between = f"{low} to {high}" if math.isfinite(chart.sd) else "too few"
        centre = wording.with_unit(centre, chart.unit)
        rows.append([chart.label, centre, between, newest, str(len(chart.values))])
    heads = ["metric", "centre", "limits", "newest", "sessions"]
    return Table("Readings of the reference cone", heads, rows, narrow=True)


def offset_table(answer: Drift, labels: Mapping[str, str]) -> Table:
    """List the offset of each session; metrics that tell none are left out."""
    known: dict[str, list[Offset]] = {}
    for offset in answer.offsets:
        known.setdefault(offset.metric, []).append(offset)
    told = {name: each for name, each in known.items() if any(o.offset.known for o in each)}
    sessions = [each.session for each in next(iter(told.values()), [])]
    columns = [_offsets(row) for row in told.values()]
    heads = [f"{shown(labels, name)} ({_offset_unit(row[0])})" for name, row in told.items()]
    rows: list[list[Any]] = [list(row) for row in zip(sessions, *columns, strict=True)]
    star = "; * told from 0" if any(each.told for each in answer.offsets) else ""
    usual = "their average" if all(o.usual for o in answer.offsets) else "the usual ones' average"
    title = f"Offsets of the sessions from {usual}, 90 % intervals{star}"
    return Table(title, ["session", *heads], rows, narrow=True)


def _offset_unit(offset: Offset) -> str:
    return "% of value" if offset.relative else offset.unit


def _offsets(column: Sequence[Offset]) -> list[str]:
    """Write a metric's offsets with their intervals, or dashes; those told from 0 with a star."""
    cells = wording.intervals(
        [each.offset for each in column],
        unknown=wording.UNKNOWN,
        apart=[each.told for each in column],
    )
    return [f"{cell}{' *' if each.told else ''}" for cell, each in zip(cells, column, strict=True)]
