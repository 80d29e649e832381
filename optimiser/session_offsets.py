"""What each session adds to each metric, and which of these offsets are told from none.

One wild session would pull the average of all towards itself, and make the others look off. So
where a metric's sessions differ, offsets are taken against the average of the usual sessions:
those that do not lie far from the median.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

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

# From which modified z-score on a session is no usual one: Iglewicz & Hoaglin 1993, as told by
# NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.17 (from memory).
_WILD = 3.5


@dataclass(frozen=True)
class _Metric:
    """A metric, its repeats and the mixed model of them, None where no session has an effect."""

    metric: Metric
    tied: Tied
    model: MixedModel | None

    def chance(self, wild: Labels | None = None) -> float:
        """How likely sessions, less the wild ones, would differ as much if all were alike.

        NaN if nothing tells.
        """
        if self.model is None or self.model.coarse:
            return math.nan
        own = self.tied.item if "print" in self.model.names else self.tied.group
        rows = ~np.isin(self.tied.session, [] if wild is None else wild)
        return sessions_differ(self.tied.values[rows], own[rows], self.tied.session[rows])


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
    Best linear predictors against the average of the usual sessions, so they are drawn towards it
    where little tells them. Usual are all tied sessions, but for those whose effect lies more
    than 3.5 standard deviations from the median of the effects, both as robustly estimated
    (modified z-score; Iglewicz & Hoaglin 1993), where the metric's sessions differ at all.
    An offset is 'told' if the metric's sessions differ (see `sessions_differ`) and its own 90 %
    interval leaves zero out; that of a usual session, only if the usual ones by themselves
    differ too. One test covers all sessions of a metric; over the metrics the false discovery
    rate is held at 10 % (Benjamini & Hochberg 1995), so a rig that never moves has an offset told
    in at most one table of ten.
    """
    found = [_modelled(heard, metric, notes) for metric in heard.plan.metrics.values()]
    moving = _named({each.metric.name: each.chance() for each in found})
    wild = {
        each.metric.name: _wild(each.model)
        for each in found
        if each.model is not None and each.metric.name in moving
    }
    apart = _named({e.metric.name: e.chance(wild[e.metric.name]) for e in found
                    if e.metric.name in wild})  # fmt: skip
    offsets: list[Offset] = []
    for place, each in enumerate(found):
        if progress:
            progress(place / len(found), f"session offsets of {each.metric.name}")
        name = each.metric.name
        found_here = _offsets(heard, each, wild.get(name), name in apart)
        tested = each.model is not None and each.chance() == each.chance()
        offsets += [replace(one, tested=tested) for one in found_here]
    order = {session: place for place, session in enumerate(heard.sessions)}
    return sorted(offsets, key=lambda offset: order[offset.session])


def _named(chances: dict[str, float]) -> set[str]:
    """Name the metrics whose sessions differ."""
    tested = {name: chance for name, chance in chances.items() if chance == chance}
    if not tested:
        return set()
    adjusted = stats.false_discovery_control(list(tested.values()))
    return {name for name, chance in zip(tested, adjusted, strict=True) if chance <= _ERRING}


def _wild(model: MixedModel) -> Labels:
    """Give the sessions that are no usual ones."""
    joined = np.flatnonzero(model.tied("session"))
    effects = predict_effects(model, "session").mean[joined]
    spread = float(stats.median_abs_deviation(effects, scale="normal"))
    away = np.abs(effects - np.median(effects))
    return np.asarray(joined[(away > _WILD * spread) & (spread > 0)], dtype=np.intp)


def _modelled(heard: Heard, metric: Metric, notes: list[str]) -> _Metric:
    tied, model = tied_model(tie(heard, metric.name))
    if model is None or "session" not in model.names:
        return _Metric(metric, tied, None)
    if not model.varies:
        notes.append(f"{metric.label}: no repeat differs, so no session's offset is seen.")
        return _Metric(metric, tied, None)
    return _Metric(metric, tied, model)


def _offsets(heard: Heard, of: _Metric, wild: Labels | None, differ: bool) -> list[Offset]:
    """Give a metric's offset in every session, NaN where nothing ties it to another.

    `wild` are its sessions that are no usual ones, None if it does not move; `differ` tells
    whether the usual ones differ among themselves.
    """
    tied, unit = of.tied, "%" if of.tied.logarithmic else of.metric.unit
    apart = np.zeros(0, dtype=np.intp) if wild is None else wild
    found = {} if of.model is None else _predicted(tied, of.model, apart)
    far = {tied.sessions[place] for place in apart}
    nothing = Estimate(math.nan, math.nan, math.nan, 0)
    offsets = []
    for session in heard.sessions:
        offset = found.get(session, nothing)
        told = (differ or session in far) and (offset.low > 0 or offset.high < 0)
        offsets.append(
            Offset(
                session, of.metric.name, unit, offset, tied.logarithmic, told, session not in far
            )
        )
    return offsets


def _predicted(tied: Tied, model: MixedModel, wild: Labels) -> dict[str | None, Estimate]:
    """Tell the effects of the tied sessions, less the average of the usual ones."""
    joined = model.tied("session")
    usual = joined & ~np.isin(np.arange(len(joined)), wild)
    contrasts = np.diag(1.0 * joined) - usual / usual.sum()
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
