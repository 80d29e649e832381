"""The measurements that can tell ageing or climate: cones heard more than once, and when."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from optimiser.ageing_laws import Span
from optimiser.repeats import Heard
from optimiser.scales import is_logarithmic

__all__ = ["CLOCKS", "Beside", "Clock", "Kept", "keep"]

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.intp]


@dataclass(frozen=True)
class Clock:
    """What a metric is followed over: a cone's age, or the climate it is heard in.

    Parameters
    ----------
    name, unit, of : str
        Column of the table; its unit; what it is time of, or which climate.
    step : float
        After how much of it the drift is told.
    slack : float
        Differences up to this count as none.
    option : str
        Of `measure`, that records it.
    reversible : bool
        A climate: what it changes comes back with it, and a straight line is all that is asked.
    """

    name: str
    unit: str
    of: str
    step: float
    slack: float
    option: str
    reversible: bool = False


CLOCKS = {
    each.name: each
    for each in (
        Clock("light_hours", "h", "light", 100.0, 1.0, "--light-hours"),
        Clock("age_days", "days", "age", 30.0, 0.5, "--age-days"),
        Clock("temperature_c", "°C", "temperature", 10.0, 1.0, "--temperature", reversible=True),
        Clock("humidity_percent", "%", "humidity", 10.0, 3.0, "--humidity", reversible=True),
    )
}


@dataclass(frozen=True)
class Beside:
    """What else a metric may follow along a straight line, so that it is not taken for drift.

    Parameters
    ----------
    clock : Clock
    values : ndarray of shape (n,)
        At each measurement, less `middle`, over `scale`.
    middle, scale : float
        Mean over the measurements; standard deviation within the cones.
    """

    clock: Clock
    values: Floats
    middle: float
    scale: float


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
    rows : ndarray of int, shape (n,)
        Places in the table heard.
    straight : bool
        Whether a straight line is the only law.
    beside : tuple of Beside
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
    rows: Labels = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    straight: bool = False
    beside: tuple[Beside, ...] = ()

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

    @property
    def told_by(self) -> int:
        """How many measurements are of cones heard at several ages."""
        return int(self.aged[self.cone].sum())

    def latest(self) -> Floats:
        """Give the longest time at which each cone was heard, shape (cones,)."""
        return np.array([self.times[self.cone == each].max() for each in range(len(self.cones))])

    def without(self, rows: npt.NDArray[np.bool_]) -> Kept:
        """Leave some measurements out; span and labels stay. Lone ones tell nothing and go too."""
        left = ~rows
        left &= np.bincount(self.cone[left], minlength=len(self.cones))[self.cone] > 1
        return replace(
            self,
            values=self.values[left],
            times=self.times[left],
            cone=self.cone[left],
            session=self.session[left],
            rows=self.rows[left] if len(self.rows) else self.rows,
            beside=tuple(replace(each, values=each.values[left]) for each in self.beside),
        )


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
        place,
        clock.reversible,
    )
