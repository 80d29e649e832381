"""From metrics to one score: desirabilities after Derringer & Suich (1980).

Each metric becomes a desirability between 0 (`poor` or worse) and 1 (`good` or better); the
score is their weighted geometric mean, and 0 where a hard limit is broken. A plan with a single
goal and no `poor`/`good` is scored by that metric itself.

Derringer, G. & Suich, R. (1980), Simultaneous optimization of several response variables,
Journal of Quality Technology 12(4), 214-219.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from experiments.plan import Metric, Plan

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["FAR", "Goals", "desirability", "measured_scores"]

Floats = npt.NDArray[np.float64]

# Below this desirability the soft form decays instead of reaching 0, so that a search among
# poor recipes still has a way up.
_KNEE = 0.05

FAR = 100.0
"""Where positions between poor (0) and good (1) end, so that a wild draw stays a number."""


class Goals:
    """What a plan wants.

    Parameters
    ----------
    plan : Plan
    known : collection of str, optional
        Metrics that have a model; goals and limits on others are left out. All by default.

    Attributes
    ----------
    metrics : list of Metric
        Those with a goal.
    limited : list of Metric
        Those with a hard limit (watched metrics too).
    needed : list of str
        Names of all of these: what a score is computed from.
    raw : Metric or None
        The single metric that is optimised itself; None for a score of desirabilities.
    trade : bool
        Whether the plan trades the metrics with a goal against each other.
    """

    def __init__(self, plan: Plan, known: Collection[str] | None = None) -> None:
        usable = [m for m in plan.metrics.values() if known is None or m.name in known]
        self.metrics = [metric for metric in usable if metric.goal != "watch"]
        self.limited = [metric for metric in usable if metric.limit is not None]
        wanted = {metric.name for metric in [*self.metrics, *self.limited]}
        self.needed = [name for name in plan.metrics if name in wanted]
        self.trade = plan.goal == "trade"
        alone = len(self.metrics) == 1 and self.metrics[0].good is None
        self.raw: Metric | None = self.metrics[0] if alone else None
        weights = np.array([metric.weight for metric in self.metrics], dtype=float)
        self._shares = weights / weights.sum() if len(weights) else weights

    @property
    def unit(self) -> str:
        """Unit of the score: none, or that of the single metric."""
        return self.raw.unit if self.raw is not None else ""

    @property
    def sign(self) -> float:
        """1 where a larger score is better, -1 where a smaller one is."""
        return -1.0 if self.raw is not None and self.raw.goal == "minimise" else 1.0

    def score(self, values: dict[str, Floats]) -> Floats:
        """Score of metric values, in the units that a user reads.

        Parameters
        ----------
        values : dict of str to ndarray
            Arrays of one shape, at least for every name in `needed`.

        Returns
        -------
        ndarray
            Same shape; NaN where a needed metric is NaN. With a single raw metric, that metric
            (NaN where a limit is broken).
        """
        if self.raw is not None:
            result = np.array(values[self.raw.name], dtype=float)
            return np.where(self.within_limits(values), result, np.nan)
        total: Floats = np.zeros(())
        with np.errstate(divide="ignore"):
            for metric, share in zip(self.metrics, self._shares, strict=True):
                total = total + share * np.log(desirability(metric, values[metric.name]))
        result = np.exp(total)
        broken = ~self.within_limits(values) & ~np.isnan(result)
        return np.where(broken, 0.0, result)

    def utility(self, values: dict[str, Floats]) -> Floats:
        """Give the score as the search sees it: larger is better, and never quite flat.

        Agrees with the score wherever every desirability is over 0.05 and no limit is broken.
        """
        if self.raw is not None:
            result = self.sign * np.asarray(values[self.raw.name], dtype=float)
            return np.where(self.within_limits(values), result, np.min(result))
        total: Floats = np.zeros(())
        for metric, share in zip(self.metrics, self._shares, strict=True):
            total = total + share * np.log(_soft(metric, values[metric.name]))
        result = np.exp(total)
        return np.where(self.within_limits(values), result, _KNEE * result)

    def rises(self, values: dict[str, Floats]) -> Floats:
        """Give the position of recipes between poor (0) and good (1), metric by metric.

        Better than good is more than 1, worse than poor below 0. A target is 1, and the metric's
        shape and weight play no part.

        Parameters
        ----------
        values : dict of str to ndarray
            Arrays of one shape, at least for every name in `needed`.

        Returns
        -------
        ndarray
            The same shape and one axis more, as long as `metrics`. Far below 0 where a hard limit
            is broken; NaN where a metric is NaN.
        """
        rises = np.stack([_rise(each, values[each.name]) for each in self.metrics], axis=-1)
        broken = ~self.within_limits(values)[..., None]
        return np.asarray(np.clip(rises, -FAR, FAR) - 2 * FAR * broken)

    def within_limits(self, values: dict[str, Floats]) -> npt.NDArray[np.bool_]:
        """Whether every hard limit holds (NaN does not hold)."""
        held = np.ones(np.shape(next(iter(values.values()))) if values else (), dtype=bool)
        for metric in self.limited:
            assert metric.limit is not None
            held &= np.asarray(metric.limit.holds(values[metric.name]), dtype=bool)
        return held


def desirability(metric: Metric, values: npt.ArrayLike) -> Floats:
    """Desirability of one metric's values.

    Larger or smaller the better: ``d = clip((y - poor) / (good - poor), 0, 1)^shape``.
    Target: the same from either side, 1 at the target (Derringer & Suich 1980, eqs. 4 and 5).

    Parameters
    ----------
    metric : Metric
        With `poor` and `good`.
    values : array_like

    Returns
    -------
    ndarray
        0..1; NaN stays NaN.
    """
    return np.asarray(np.clip(_rise(metric, values), 0.0, 1.0) ** metric.shape)


def _rise(metric: Metric, values: npt.ArrayLike) -> Floats:
    """Position between poor (0) and good (1), unclipped."""
    y = np.asarray(values, dtype=float)
    assert metric.good is not None
    assert metric.poor is not None
    if metric.goal == "target":
        low, high = _target_ends(metric)
        return np.where(
            y <= metric.good,
            (y - low) / (metric.good - low),
            (high - y) / (high - metric.good),
        )
    assert not isinstance(metric.poor, tuple)  # a pair only belongs to a target
    return np.asarray((y - metric.poor) / (metric.good - metric.poor))


def _target_ends(metric: Metric) -> tuple[float, float]:
    """Values on either side of a target where desirability is 0."""
    assert metric.good is not None
    assert metric.poor is not None
    if isinstance(metric.poor, tuple):
        return metric.poor
    return metric.good - metric.poor, metric.good + metric.poor


def _soft(metric: Metric, values: Floats) -> Floats:
    """Desirability that decays below the knee with a continuous slope instead of being 0."""
    rise = np.minimum(_rise(metric, values), 1.0)
    tail = _KNEE * np.exp(np.clip((rise - _KNEE) / _KNEE, -20.0, 0.0))
    return np.asarray(np.where(rise >= _KNEE, rise, tail) ** metric.shape)


def measured_scores(plan: Plan, trials: pd.DataFrame) -> Floats:
    """Give the measured score of each row of a table; NaN where a metric that it needs lacks."""
    measured = (trials["status"] == "measured").to_numpy(dtype=bool)
    # As in the answers, a metric that nobody has measured yet leaves the score.
    goals = Goals(plan, [name for name in plan.metrics if trials[name].notna().any()])
    values = {name: trials[name].to_numpy(dtype=float) for name in goals.needed}
    if not goals.metrics:
        return np.full(len(trials), np.nan)
    return np.where(measured, goals.score(values), np.nan)
