"""Foretold metrics and curves as tables of text, the same in terminal and report."""

from __future__ import annotations

import numpy as np

from experiments.plan import Plan
from optimiser import wording
from optimiser.answer_tables import Table
from optimiser.curve_wording import CURVE_NAMES
from optimiser.records.estimates import Estimate
from optimiser.records.expectations import Expectation

__all__ = ["curve_table", "expectation_tables", "left_out_table", "metric_table"]


def expectation_tables(plan: Plan, answer: Expectation) -> list[Table]:
    """Give the tables that belong below the picture: metrics, and how well curves are foretold."""
    tables = [metric_table(plan, answer), curve_table(answer)]
    return [table for table in tables if table.rows]


def metric_table(plan: Plan, answer: Expectation) -> Table:
    """List each metric as its model foretells it, and as the foretold curves read it."""
    read = {one.metric: (one.middle, one.mean) for one in answer.agreements}
    told = {
        name: (metric.label, metric.unit, answer.expected[name])
        for name, metric in plan.metrics.items()
    }
    if wording.score_name(plan) not in plan.metrics:
        told["score"] = ("score", "", answer.score)
    measured = {**answer.measured, "score": answer.seen_score}
    rows = []
    for name, (label, unit, estimate) in told.items():
        values = [measured.get(name, np.nan)] if answer.measured else []
        values += read.get(name, (np.nan, np.nan)) if read else ()
        beside = [_beside(value, estimate) for value in values]
        rows.append([label, wording.interval(estimate, unit), *beside])
    heads = ["metric", "expected", *(["measured"] if answer.measured else [])]
    heads += ["from the middle curve", "from the mean curve"] if read else []
    return Table("Expected metrics, 90 % intervals of a new measurement", heads, rows)


def _beside(value: float, told: Estimate) -> str:
    if told.known:
        return wording.beside(value, told)
    return wording.number(value)


def curve_table(answer: Expectation) -> Table:
    """List how wide each band is, and how well such curves are foretold."""
    rows = []
    for check in answer.checks:
        band = answer.curves[check.name]
        low, high = (
            each if band.unit == "dB" else 20 * np.log10(each) for each in (band.low, band.high)
        )
        widths = (float(np.median(high - low)) / 2, check.error, check.spread, check.prints)
        cells = [wording.with_unit(wording.number(one, 1.0), "dB") for one in widths]
        inside = wording.percent(check.inside)
        rows.append(
            [CURVE_NAMES[check.name], f"±{cells[0]}", *cells[1:], inside, str(check.cones)]
        )
    heads = [
        "curve", "band", "miss, left out", "miss of the others' mean", "prints of one recipe",
        "inside the band", "cones",
    ]  # fmt: skip
    return Table("Foretold curves (percentages in dB)", heads, rows)


def left_out_table(answer: Expectation) -> Table:
    """List each cone's miss when it is left out, and the share of points inside the band."""
    tables = {check.name: check.table.set_index("cone") for check in answer.checks}
    shown = [name for name in ("response", "thd", "decay") if name in tables]
    cones = list(dict.fromkeys(cone for name in shown for cone in tables[name].index))
    rows = []
    for cone in cones:
        row = [str(cone)]
        for name in shown:
            table = tables[name]
            if cone not in table.index:
                row.append(wording.UNKNOWN)
                continue
            error, inside = table.loc[cone, "error"], table.loc[cone, "inside"]
            row.append(f"{error:.1f}\N{NO-BREAK SPACE}dB, {wording.percent(inside)}")
        rows.append(row)
    heads = ["cone", *(CURVE_NAMES[name] for name in shown)]
    return Table("Each cone's curves foretold without it: miss, share inside", heads, rows)
