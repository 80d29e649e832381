"""Ageing as tables of text, the same wherever they are shown."""

from __future__ import annotations

from optimiser import wording
from optimiser.ageing_records import Ageing, MetricAgeing
from optimiser.ageing_rows import CLOCKS
from optimiser.answer_tables import Table

__all__ = [
    "ageing_tables",
    "beside_table",
    "crossing_table",
    "drift_table",
    "law_table",
    "score_table",
    "setting_table",
]


def drift_table(answer: Ageing) -> Table:
    """List each metric's mean drift."""
    rows = []
    for each in answer.metrics:
        unit = _unit(each)
        drifts = [wording.interval(each.early, unit), wording.interval(each.whole, unit)]
        counts = [str(each.whole.cones), str(each.measurements)]
        rows.append([each.label, each.verdict, *drifts, *counts])
    known = [each.step for each in answer.metrics if each.whole.known]
    clock = CLOCKS[answer.by]
    after = "over" if clock.reversible else "after"
    early = f"{after} {min(known):.0f} {answer.unit}" if known else "early"
    whole = f"{after} {answer.longest - answer.first:.0f} {answer.unit}" if known else "in all"
    heads = ["metric", "verdict", early, whole, "cones", "n"]
    what = f"Dependence on {clock.of}" if clock.reversible else "Mean drift"
    if clock.reversible:  # a straight line: one span tells it
        del heads[2]
        rows = [[*row[:2], *row[3:]] for row in rows]
    return Table(f"{what} of the kept cones, 90 % intervals", heads, rows)


def _unit(metric: MetricAgeing) -> str:
    return "% of value" if metric.relative else metric.unit


def law_table(answer: Ageing) -> Table:
    """List which law each metric follows."""
    rows = [[each.label, each.law.text] for each in answer.metrics if each.law is not None]
    return Table("Law of the drift", ["metric", "law"], rows)


def beside_table(answer: Ageing) -> Table:
    """List what was taken into account beside the drift."""
    rows = [[each.label, one.text] for each in answer.metrics for one in each.beside]
    return Table("Taken into account", ["metric", ""], rows)


def ageing_tables(answer: Ageing, score: str = "score", unit: str = "") -> list[Table]:
    """List everything that is told, tables without rows left out.

    Parameters
    ----------
    answer : Ageing
    score, unit : str
        Words for the score, and its unit.
    """
    tables = [
        drift_table(answer),
        beside_table(answer),
        law_table(answer),
        crossing_table(answer),
        setting_table(answer),
        score_table(answer, score, unit),
    ]
    return [table for table in tables if table.rows]


def crossing_table(answer: Ageing) -> Table:
    """List when each kept cone leaves its limit, or becomes poor; cones alike share a row."""
    alike: dict[tuple[str, str, str], list[str]] = {}
    for each in answer.metrics:
        for one in each.crossings:
            alike.setdefault((each.label, one.bound, one.text), []).append(one.cone)
    rows = [
        [label, bound, ", ".join(cones), text] for (label, bound, text), cones in alike.items()
    ]
    return Table("When a limit is crossed", ["metric", "bound", "cones", ""], rows)


def setting_table(answer: Ageing) -> Table:
    """List what settings do to the drift."""
    rows = [[each.label, one.text] for each in answer.metrics for one in each.settings]
    return Table("Settings and drift", ["metric", ""], rows)


def score_table(answer: Ageing, name: str = "score", unit: str = "") -> Table:
    """List the kept cones' scores when last heard, and later."""
    at = f"{answer.at:g} {answer.unit}" if answer.at is not None else ""
    rows = [
        [
            each.cone,
            f"{each.last:.0f} {answer.unit}",
            *(wording.interval(one, unit, most=3) for one in (each.now, each.then, each.change)),
        ]
        for each in answer.scores
    ]
    heads = ["cone", "last heard", "then", f"after {at}", "change"]
    return Table(f"{wording.capital(name)} of the kept cones, 90 % intervals", heads, rows)
