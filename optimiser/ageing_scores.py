"""A kept cone's score when last heard, and after a stated time."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from experiments.plan import Plan
from optimiser.ageing_model import Drawn
from optimiser.ageing_records import Score
from optimiser.ageing_rows import Kept
from optimiser.answers import Estimate
from optimiser.goals import Goals

__all__ = ["scores_after", "summary"]

Floats = npt.NDArray[np.float64]


def summary(values: Floats, cones: int) -> Estimate:
    """Give the median and the 90 % interval of drawn values; they may have no mean.

    NaN where over 5 % of them are: a score that is a metric itself has no value beyond a limit.
    """
    if np.isnan(values).mean() > 0.05:
        return Estimate(math.nan, math.nan, math.nan, cones)
    low, middle, high = np.nanquantile(values, [0.05, 0.5, 0.95])
    return Estimate(float(middle), float(low), float(high), cones)


def scores_after(
    plan: Plan, parts: Mapping[str, tuple[Kept, Drawn | None]], at: float
) -> tuple[list[Score], str]:
    """Give each kept cone's score when last heard, and later.

    Parameters
    ----------
    plan : Plan
    parts : mapping of str to (Kept, Drawn or None)
        Metrics whose drift can be told; None for one that reads the same every time, which is
        taken as unchanged.
    at : float
        The later time.

    Returns
    -------
    scores : list of Score
        Of cones heard more than once in every metric of the score.
    lacking : str
        Why there are none; else empty.
    """
    goals = Goals(plan)
    lacking = [plan.metrics[name].label for name in goals.needed if name not in parts]
    if lacking:
        return [], f"No score after {at:g}: the ageing of {', '.join(lacking)} cannot be told yet."
    found = [
        _score(goals, parts, cone, at)
        for cone in parts[goals.needed[0]][0].cones
        if all(cone in parts[name][0].cones for name in goals.needed)
    ]
    return found, "" if found else "No cone was heard more than once in every metric of the score."


def _score(
    goals: Goals, parts: Mapping[str, tuple[Kept, Drawn | None]], cone: str, at: float
) -> Score:
    last = max(
        float(kept.latest()[kept.cones.index(cone)])
        for kept, _ in (parts[name] for name in goals.needed)
    )
    values = {name: _values(*parts[name], cone, [last, max(at, last)]) for name in goals.needed}
    shape = np.broadcast_shapes(*(each.shape for each in values.values()))
    scores = goals.score({name: np.broadcast_to(each, shape) for name, each in values.items()})
    told = [int(parts[n][0].aged.sum()) for n in goals.needed if parts[n][1] is not None]
    few = min(told, default=0)
    now, then = scores[:, 0], scores[:, 1]
    return Score(cone, last, summary(now, few), summary(then, few), summary(then - now, few))


def _values(kept: Kept, drawn: Drawn | None, cone: str, times: list[float]) -> Floats:
    """Give one cone's drawn values at some times, in the metric's unit."""
    place = kept.cones.index(cone)
    if drawn is None:
        values = np.full((1, len(times)), kept.values[kept.cone == place][0])
    else:
        values = drawn.values(place, times)
    return np.exp(np.clip(values, -300.0, 300.0)) if kept.logarithmic else values
