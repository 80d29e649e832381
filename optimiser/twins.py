"""Two cones of one recipe: by how much they differ as measured, against what usually repeats."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd
from scipy import special

from optimiser.records.comparisons import Twin
from optimiser.surrogate import MetricModel, Model
from optimiser.wording import describe, many, number, with_unit

__all__ = ["apart_text", "twins"]

_WITHIN = float(special.ndtri(0.95))  # nine of ten normal values lie within so many sd


def twins(model: Model, cones: Sequence[str]) -> list[Twin]:
    """Set what two cones of one recipe gave side by side.

    Parameters
    ----------
    model : Model
    cones : sequence of str
        Their two numbers.

    Returns
    -------
    list of Twin
        One a metric that both have, and that has a model; none where either was not measured.
    """
    measured = model.evidence.measured
    names = measured["cone"].astype(str)
    one, other = (measured[names == cone] for cone in cones)
    if not len(one) or not len(other):
        return []
    shared = bool(set(one["session"].dropna()) & set(other["session"].dropna()))
    found = []
    for name, part in model.metrics.items():
        values = [pd.to_numeric(each[name]).dropna().to_numpy(float) for each in (one, other)]
        if not all(map(len, values)):
            continue
        usual = _usual(part, float(np.mean(np.concatenate(values))), shared)
        found.append(Twin(name, float(values[0].mean() - values[1].mean()), usual))
    return found


def _usual(part: MetricModel, level: float, shared: bool) -> float:
    """Give within how much nine of ten pairs of prints lie, each measured once."""
    process = part.process
    sd = process.repeatability_
    if not shared:
        sd = float(np.sqrt(np.mean(process.novelty_)) * process.scale_)
    reach = _WITHIN * math.sqrt(2.0) * sd
    return level * math.sinh(reach) if part.log else reach


def apart_text(model: Model, found: Sequence[Twin], units: Mapping[str, str]) -> str:
    """Say in which metrics two such cones are further apart than prints of one recipe usually."""
    labels = describe(model.plan)
    far = [each for each in found if abs(each.difference) > each.usual]
    if not far:
        return (
            f" As measured they differ by no more than such cones do in all {len(found)} metrics."
        )
    parts = [
        f"{labels[each.metric]} "
        f"({with_unit(number(each.difference, each.usual), units[each.metric])}, "
        f"where nine of ten such pairs lie within {number(each.usual, each.usual)})"
        for each in far
    ]
    return (
        f" As measured they differ by more than such cones usually do in {', '.join(parts)}; of "
        f"{many(len(found), 'metric')} one in ten does so by chance."
    )
