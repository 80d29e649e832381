"""The measurements that can tell ageing: cones heard more than once, with their ages."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from optimiser.ageing_laws import Span
from optimiser.repeats import Heard
from optimiser.scales import is_logarithmic

__all__ = ["CLOCKS", "Clock", "Kept", "keep"]

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Clock:
    """What a cone's age is counted in.

    Parameters
    ----------
    name, unit, of : str
        Column of the table; unit of time; what it is time of.
    step : float
        After how much of it the drift is told.
    slack : float
        Differences up to this count as none.
    """

    name: str
    unit: str
    of: str
    step: float
    slack: float


CLOCKS = {
    "light_hours": Clock("light_hours", "h", "light", 100.0, 1.0),
    "age_days": Clock("age_days", "days", "age", 30.0, 0.5),
}


@dataclass(frozen=True)
class Kept:
    """One metric of the cones heard more than once.

    Parameters
    ----------
    values : ndarray of shape (n,)
        On the scale the metric is learnt on.
    times : ndarray of shape (n,)
    cone, session : ndarray of int, shape (n,)
        Numbered from 0.
    cones, sessions : list of str
        Their labels; a measurement without a session has one of its own.
    logarithmic : bool
    span : Span
        Of the cones heard at several ages.
    aged : ndarray of bool, shape (cones,)
        Which cones those are.
    """

    values: Floats
    times: Floats
    cone: Labels
    session: Labels
    cones: list[str]
    sessions: list[str]
    logarithmic: bool
    span: Span
    aged: npt.NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.values)

    @property
    def shared(self) -> bool:
        """Whether sessions can be told from single measurements at all."""
        return len(self.sessions) > 1 and len(self.sessions) < len(self.values)

    @property
    def changes(self) -> bool:
        """Whether any cone ever read differently."""
        return any(np.ptp(self.values[self.cone == each]) > 0 for each in np.unique(self.cone))

    def latest(self) -> Floats:
        """Give the longest time at which each cone was heard, shape (cones,)."""
        return np.array([self.times[self.cone == each].max() for each in range(len(self.cones))])

    def without(self, rows: npt.NDArray[np.bool_]) -> Kept:
        """Leave some measurements out; span and labels stay. Lone ones tell nothing and go too."""
        left = ~rows
        left &= np.bincount(self.cone[left], minlength=len(self.cones))[self.cone] > 1
        return Kept(
            self.values[left], self.times[left], self.cone[left], self.session[left],
            self.cones, self.sessions, self.logarithmic, self.span, self.aged,
        )  # fmt: skip


def keep(heard: Heard, metric: str, clock: Clock) -> Kept:
    """Take one metric's values of the cones heard more than once.

    Parameters
    ----------
    heard : Heard
    metric : str
        A metric of the plan.
    clock : Clock
        Rows without such a time are left out.
    """
    table = heard.table
    column, times = (table[name].to_numpy(dtype=float) for name in (metric, clock.name))
    logarithmic = is_logarithmic(
        heard.plan.metrics[metric].unit, column[np.isfinite(column)]
    ) and bool(np.isfinite(column).any())
    rows = np.isfinite(column) & np.isfinite(times)
    names = table["cone"].astype(str)
    again = names[rows].value_counts()
    rows &= names.isin(again[again > 1].index).to_numpy(dtype=bool)
    place = np.flatnonzero(rows)
    # Cones in the order of the table, sessions in that of their first measurement.
    cones = list(dict.fromkeys(names.iloc[place]))
    labels = [table["session"].iloc[r] for r in place]
    own = [
        f"named {x}" if x is not None else f"row {r}" for x, r in zip(labels, place, strict=True)
    ]
    known = [f"named {each}" for each in heard.sessions]
    order = {each: rank for rank, each in enumerate(known)}
    sessions = sorted(dict.fromkeys(own), key=lambda each: order.get(each, len(order)))
    cone = np.array([cones.index(each) for each in names.iloc[place]], dtype=np.intp)
    values = np.log(column[place]) if logarithmic else column[place]
    aged = np.array(
        [np.ptp(times[place][cone == each]) > clock.slack for each in range(len(cones))],
        dtype=bool,
    )
    seen = times[place][aged[cone]] if len(place) else np.zeros(0)
    span = Span(float(seen.min()), float(seen.max())) if len(seen) else Span(0.0, 1.0)
    return Kept(
        values,
        times[place],
        cone,
        np.array([sessions.index(each) for each in own], dtype=np.intp),
        cones,
        [each.removeprefix("named ") for each in sessions],
        logarithmic,
        span,
        aged,
    )
