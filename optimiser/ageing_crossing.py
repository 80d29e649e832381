"""When a kept cone leaves what the plan allows."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from experiments.plan import Metric
from optimiser import wording
from optimiser.ageing_laws import reached
from optimiser.ageing_model import Drawn
from optimiser.ageing_records import Crossing
from optimiser.ageing_rows import Clock, Kept
from optimiser.answers import Estimate

__all__ = ["Bound", "bound_of", "cone_crossing", "crossing_times"]

Floats = npt.NDArray[np.float64]


class Bound:
    """A value that a metric should not pass.

    Parameters
    ----------
    text : str
        How it is called.
    value : float
        In the metric's unit.
    upper : bool
        Whether values above it are the wrong ones.
    """

    def __init__(self, text: str, value: float, *, upper: bool) -> None:
        self.text, self.value, self.upper = text, value, upper


def bound_of(metric: Metric) -> Bound | None:
    """Give the limit, else poor; None without either, and for a target, which has two ends."""
    if metric.limit is not None:
        text = f"limit {wording.with_unit(str(metric.limit), metric.unit)}"
        return Bound(text, metric.limit.value, upper=metric.limit.op.startswith("<"))
    if metric.goal in ("maximise", "minimise") and isinstance(metric.poor, int | float):
        text = f"poor, {wording.with_unit(f'{metric.poor:g}', metric.unit)}"
        return Bound(text, float(metric.poor), upper=metric.goal == "minimise")
    return None


def crossing_times(drawn: Drawn, cone: int, bound: Bound, level: float, horizon: float) -> Floats:
    """Give when each drawn cone passes a bound.

    Parameters
    ----------
    drawn : Drawn
    cone : int
    bound : Bound
    level : float
        The bound on the scale of the model.
    horizon : float
        Later than this counts as infinite.

    Returns
    -------
    ndarray of shape (draws,)
        The first time; that of the first measurement where it was beyond from the start.
    """
    sign = 1.0 if bound.upper else -1.0
    room, pace = sign * (level - drawn.level[:, cone]), sign * drawn.drift[:, cone]
    nears = (room > 0) & (pace > 0)
    share = np.where(nears, room, 0.0) / np.where(nears, pace, 1.0)  # laws never turn back
    times = reached(drawn.law, drawn.shape, share, drawn.span)
    times = np.where(nears | (room < 0), times, math.inf)
    return np.where(times <= horizon, times, math.inf)


def cone_crossing(
    drawn: Drawn, kept: Kept, cone: int, bound: Bound, clock: Clock, horizon: float
) -> Crossing:
    """Say when one cone passes a bound."""
    if kept.logarithmic and bound.value <= 0:
        level = -math.inf
    else:
        level = math.log(bound.value) if kept.logarithmic else bound.value
    times = crossing_times(drawn, cone, bound, level, horizon)
    # Order statistics: between a finite and an infinite draw nothing can be interpolated.
    low, mid, high, safe = np.quantile(times, [0.05, 0.5, 0.95, 0.1], method="lower")
    last = float(kept.latest()[cone])
    estimate = Estimate(float(mid), float(low), float(high), int(kept.aged.sum()))
    text = _text(estimate, float(safe), last, clock, horizon)
    return Crossing(kept.cones[cone], bound.text, estimate, float(min(safe, horizon)), text)


def _text(time: Estimate, safe: float, last: float, clock: Clock, horizon: float) -> str:
    unit = "\N{NO-BREAK SPACE}" + clock.unit
    if time.high <= last:
        return "beyond it already"
    if math.isfinite(time.high):
        perhaps = "; it may be beyond already" if time.low <= last else ""
        return f"after {wording.interval(time, clock.unit)}{perhaps}"
    if math.isinf(safe):
        return f"not within {horizon:.0f}{unit} (90 %)"
    if safe <= last:
        return "cannot tell yet: it may be beyond already"
    return f"not before {safe:.0f}{unit} (90 %); later cannot be told yet"
