"""What each session adds to each metric, and which of these offsets are told from none."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from experiments.plan import Metric
from optimiser.answers import Estimate
from optimiser.effects import Predicted, predict_effects
from optimiser.mixed import MixedModel
from optimiser.repeats import Heard, Tied, tie
from optimiser.scales import change_in_percent
from optimiser.sources import tied_model
from optimiser.uncertainty import Offset

__all__ = ["session_offsets", "sessions_differ"]

Labels = npt.NDArray[np.intp]
Progress = Callable[[float, str], None]

_ERRING = 0.1  # share of tables of a rig that never moves in which some offset is told


@dataclass(frozen=True)
class _Metric:
    """A metric, its repeats and the mixed model of them, None where no session has an effect."""

    metric: Metric
    tied: Tied
    model: MixedModel | None

    @property
    def chance(self) -> float:
        """How likely sessions that are all alike would differ as much; NaN if nothing tells."""
        if self.model is None or self.model.coarse:
            return math.nan
        own = self.tied.item if "print" in self.model.names else self.tied.group
        return sessions_differ(self.tied.values, own, self.tied.session)


def session_offsets(
    heard: Heard, notes: list[str], *, progress: Progress | None = None
) -> list[Offset]:
    """Predict what each session adds to each metric, from every cone that ties it to another.

    Parameters
    ----------
    heard : Heard
    notes : list of str
        What cannot be seen is added.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    list of Offset
        Sessions in order, metrics in plan order.

    Notes
    -----
    Best linear predictors against the average of the tied sessions, so they are drawn towards it
    where little tells them. One is 'told' if the metric's sessions differ (see
    `sessions_differ`) and its own 90 % interval leaves zero out. One test covers all sessions of
    a metric; over the metrics the false discovery rate is held at 10 % (Benjamini & Hochberg
    1995), so a rig that never moves has an offset told in at most one table of ten.
    """
    found = [_modelled(heard, metric, notes) for metric in heard.plan.metrics.values()]
    moving = _moving(found)
    offsets: list[Offset] = []
    for place, each in enumerate(found):
        if progress:
            progress(place / len(found), f"session offsets of {each.metric.name}")
        offsets += _offsets(heard, each, each.metric.name in moving)
    order = {session: place for place, session in enumerate(heard.sessions)}
    return sorted(offsets, key=lambda offset: order[offset.session])


def _moving(found: list[_Metric]) -> set[str]:
    """Name the metrics whose sessions differ."""
    chances = {each.metric.name: each.chance for each in found}
    tested = {name: chance for name, chance in chances.items() if chance == chance}
    if not tested:
        return set()
    adjusted = stats.false_discovery_control(list(tested.values()))
    return {name for name, chance in zip(tested, adjusted, strict=True) if chance <= _ERRING}


def _modelled(heard: Heard, metric: Metric, notes: list[str]) -> _Metric:
    tied, model = tied_model(tie(heard, metric.name))
    if model is None or "session" not in model.names:
        return _Metric(metric, tied, None)
    if not model.varies:
        notes.append(f"{metric.label}: no repeat differs, so no session's offset is seen.")
        return _Metric(metric, tied, None)
    return _Metric(metric, tied, model)


def _offsets(heard: Heard, of: _Metric, differ: bool) -> list[Offset]:
    """Give a metric's offset in every session, NaN where nothing ties it to another."""
    tied, unit = of.tied, "%" if of.tied.logarithmic else of.metric.unit
    found = {} if of.model is None else _predicted(tied, of.model)
    nothing = Estimate(math.nan, math.nan, math.nan, 0)
    offsets = []
    for session in heard.sessions:
        offset = found.get(session, nothing)
        told = differ and (offset.low > 0 or offset.high < 0)
        offsets.append(Offset(session, of.metric.name, unit, offset, tied.logarithmic, told))
    return offsets


def _predicted(tied: Tied, model: MixedModel) -> dict[str | None, Estimate]:
    """Tell the effects of the sessions that are tied to another one, less their average."""
    joined = model.tied("session")
    contrasts = np.diag(1.0 * joined) - joined / joined.sum()
    predicted = predict_effects(model, "session", contrasts)
    return {
        tied.sessions[place]: _estimate(tied, predicted, int(place))
        for place in np.flatnonzero(joined)
    }


def _estimate(tied: Tied, predicted: Predicted, place: int) -> Estimate:
    """Give one session's offset in the metric's unit, or in percent of its value."""
    here = np.unique(tied.group[tied.session == place])
    elsewhere = np.unique(tied.group[tied.session != place])
    shared = np.isin(tied.group, np.intersect1d(here, elsewhere)) & (tied.session == place)
    ends = [float(each[place]) for each in (predicted.mean, predicted.low, predicted.high)]
    if tied.logarithmic:
        ends = [change_in_percent(end) for end in ends]
    return Estimate(ends[0], ends[1], ends[2], len(np.unique(tied.item[shared])))


def sessions_differ(values: npt.ArrayLike, item: Labels, session: Labels) -> float:
    """Test whether sessions differ more than mountings of one cone in one session do.

    Parameters
    ----------
    values : array_like of shape (n,)
    item, session : ndarray of int, shape (n,)
        Cone and session of each.

    Returns
    -------
    float
        How likely sessions that are all alike would differ as much; NaN where no mounting is
        left over to compare with, or none differs.

    Notes
    -----
    F test of the sessions with a mean of its own for each cone: exact for normal values, however
    unbalanced, whatever the cones are (Wald 1947; Searle, Casella & McCulloch, Variance
    Components, from memory). With statsmodels' F test of nested models in the tests.
    """
    numbers = np.asarray(values, dtype=np.float64)
    without = 1.0 * (item[:, None] == np.unique(item))
    full = np.hstack([without, 1.0 * (session[:, None] == np.unique(session))])
    (less, few), (left, most) = (_left(numbers - numbers.mean(), each) for each in (without, full))
    between, within = most - few, len(numbers) - most
    if between < 1 or within < 1 or left <= 1e-18 * float(np.sum((numbers - numbers.mean()) ** 2)):
        return math.nan
    return float(special.fdtrc(between, within, max(less - left, 0.0) / between * within / left))


def _left(values: npt.NDArray[np.float64], design: npt.NDArray[np.float64]) -> tuple[float, int]:
    """Give the sum of squares that a design leaves, and the design's rank."""
    found, _, rank, _ = np.linalg.lstsq(design, values)
    return float(np.sum((values - design @ found) ** 2)), int(rank)
