"""When to measure which cone next: where one more reading narrows the mean drifts most."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from optimiser.ageing_model import Drawn
from optimiser.ageing_records import Visit
from optimiser.ageing_rows import Kept

__all__ = ["next_visits"]

Floats = npt.NDArray[np.float64]

_AHEAD = 1.5  # times the longest time seen: a horizon that a maker can wait for
_TIMES = 6
_MOST = 3


def next_visits(parts: Sequence[tuple[Kept, Drawn]], slack: float) -> list[Visit]:
    """Say which cones to measure next, and at what time.

    Parameters
    ----------
    parts : list of (Kept, Drawn)
        One a metric whose drift can be told.
    slack : float
        A cone is measured again only after more than this.

    Returns
    -------
    list of Visit
        At most three cones, each at its most telling time, most telling first. A cone that has
        not aged yet, such as one kept in the dark, shows what sessions do and is left alone.

    Notes
    -----
    The share of a quantity's variance that a reading takes away is, linearly, the squared
    correlation of the two over the drawn ways of ageing, the reading's noise and session added
    (linear Bayes). The quantity is the mean drift at twice the longest time, law's doubt
    included, cut to its middle 98 %.
    """
    found: dict[tuple[str, float], list[float]] = {}
    for kept, drawn in parts:
        span = drawn.span
        ahead = span.first + 2.0 * span.length
        wanted = _cut(drawn.mean_drift * drawn.along(ahead)[:, 0])
        times = span.first + np.linspace(0.25, _AHEAD, _TIMES) * span.length
        noise = float(np.median(drawn.noise**2 + drawn.session**2))
        for place, last in enumerate(kept.latest()):
            if not kept.aged[place]:
                continue
            for time in times[times > last + slack]:
                reading = _cut(drawn.values(place, time)[:, 0])
                share = _explained(wanted, reading, noise)
                found.setdefault((kept.cones[place], float(time)), []).append(share)
    best: dict[str, Visit] = {}
    for (cone, time), shares in found.items():
        gain = sum(shares) / len(parts)
        if cone not in best or gain > best[cone].gain:
            best[cone] = Visit(cone, time, gain)
    return sorted(best.values(), key=lambda each: -each.gain)[:_MOST]


def _cut(values: Floats) -> Floats:
    return np.asarray(np.clip(values, *np.quantile(values, [0.01, 0.99])))


def _explained(wanted: Floats, reading: Floats, noise: float) -> float:
    spread = float(np.var(reading)) + noise
    whole = float(np.var(wanted))
    if not whole > 0 or not spread > 0:
        return 0.0
    shared = float(np.mean((wanted - wanted.mean()) * (reading - reading.mean())))
    return shared**2 / (whole * spread)
