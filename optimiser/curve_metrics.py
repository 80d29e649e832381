"""The plan's metrics as foretold curves read them, by the plan's own definitions."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from experiments.acoustics import Distortion, Options, Response, measure
from experiments.acoustics.catalogue import MEASURES, convert
from experiments.acoustics.decay import THRESHOLD
from experiments.errors import CurveError
from experiments.plan import Metric, Plan
from optimiser.records.estimates import Estimate
from optimiser.records.expectations import Agreement, CurveBand

__all__ = ["agreements", "read_metric"]

Floats = npt.NDArray[np.float64]
Lines = Mapping[str, tuple[Floats, Floats]]

_LINE = 20.0 * math.log10(THRESHOLD)


def agreements(
    plan: Plan, expected: Mapping[str, Estimate], curves: Mapping[str, CurveBand]
) -> list[Agreement]:
    """Set each metric's own model beside what the foretold curves read.

    Parameters
    ----------
    plan : Plan
    expected : mapping of str to Estimate
        By the metrics' models.
    curves : mapping of str to CurveBand

    Returns
    -------
    list of Agreement
        Of the metrics that have a model and whose curve is foretold.
    """
    middle = {name: (band.x, band.middle) for name, band in curves.items()}
    mean = {name: (band.x, band.mean) for name, band in curves.items()}
    found = []
    for name, metric in plan.metrics.items():
        if _curve_of(metric) in curves and expected[name].known:
            values = [read_metric(metric, lines) for lines in (middle, mean)]
            found.append(Agreement(name, metric.label, metric.unit, expected[name], *values))
    return found


def read_metric(metric: Metric, lines: Lines) -> float:
    """Read one metric from curves.

    Parameters
    ----------
    metric : Metric
    lines : mapping of str to (x, y)
        By the names of `CurveReading`.

    Returns
    -------
    float
        In the metric's unit; NaN where the curves do not carry it.
    """
    curve = _curve_of(metric)
    if curve not in lines:
        return math.nan
    if curve == "decay":
        return convert(_last_over(*lines["decay"]) / 1000.0, "s", metric.unit)
    try:
        heard = measure(_curve(lines, curve), Options().with_values(metric.options))
    except CurveError:
        return math.nan
    found = heard.metrics.get(metric.measure)
    if found is None or found.value is None:
        return math.nan
    return convert(found.value, found.unit, metric.unit)


def _curve_of(metric: Metric) -> str:
    """Name the foretold curve that a metric can be read from; empty if there is none."""
    if metric.source == "hand":
        return ""
    if metric.measure == "decay_ms":
        return "decay"
    if "distortion" in MEASURES[metric.measure].kinds:
        return "thd"
    # The response of an impulse file is not learnt: what it carries depends on the record.
    return "response" if metric.source in ("response", "sweep") else ""


def _curve(lines: Lines, name: str) -> Response | Distortion:
    x, y = lines[name]
    if name == "response":
        return Response(x, y)
    harmonics = {
        order: np.interp(x, *lines[f"hd{order}"], left=np.nan, right=np.nan)
        for order in (2, 3, 4, 5)
        if f"hd{order}" in lines
    }
    return Distortion(x, y, harmonics)


def _last_over(time: Floats, level: Floats) -> float:
    """Give when a decay is last at 5 % of its largest magnitude, ms; NaN if it never falls."""
    over = np.flatnonzero(level >= _LINE)
    if not len(over):
        return 0.0
    last = int(over[-1])
    if last + 1 >= len(level):
        return math.nan
    fall = level[last] - level[last + 1]
    return float(time[last] + (time[last + 1] - time[last]) * (level[last] - _LINE) / fall)
