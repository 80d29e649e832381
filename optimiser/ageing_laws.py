"""Laws by which a metric changes with time: linear, logarithmic, saturating.

Each is 0 at the first time seen and 1 at the longest, so that its factor is the drift between the
two, whatever the law. The three are the usual shapes of ageing; common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

__all__ = ["LAWS", "Point", "Span", "curve", "law_points", "reached", "shape_points"]

Floats = npt.NDArray[np.float64]

LAWS = ("linear", "logarithmic", "saturating")
"""``t``; ``ln(1 + t/t0)``; ``1 - exp(-t/tau)``."""

_QUICK, _SLOW = 0.03, 2.0  # t0 or tau over the span; slower ones are nearly linear
_NODES = 9


@dataclass(frozen=True)
class Span:
    """The times seen: `first` and `longest`, in days or hours."""

    first: float
    longest: float

    @property
    def length(self) -> float:
        """From the first to the longest."""
        return self.longest - self.first


class Point(NamedTuple):
    """One law with its time constant, and how likely it is beforehand.

    Parameters
    ----------
    law : int
        Place in `LAWS`.
    shape : float
        t0 or tau; infinite for linear.
    log_prior : float
        Logarithm of the share of its law that it stands for; constants are even in logarithm.
    """

    law: int
    shape: float
    log_prior: float


def law_points(span: Span, *, straight: bool = False) -> list[Point]:
    """Give every law, or a straight line alone; time constants from a thirtieth to two spans."""
    if straight:
        return [Point(0, math.inf, 0.0)]
    ends = span.length * _QUICK, span.length * _SLOW
    return [
        Point(0, math.inf, 0.0),
        *(each for law in (1, 2) for each in shape_points(law, *ends, span)),
    ]


def shape_points(law: int, low: float, high: float, span: Span) -> list[Point]:
    """Lay points of one law evenly in the logarithm between two time constants."""
    ends = span.length * _QUICK, span.length * _SLOW
    shapes = np.geomspace(max(low, ends[0]), min(high, ends[1]), _NODES)
    step = math.log(shapes[1] / shapes[0]) / math.log(ends[1] / ends[0])
    return [Point(law, float(each), math.log(min(step, 1 / _NODES))) for each in shapes]


def curve(
    law: int | npt.NDArray[np.intp], shape: float | Floats, times: npt.ArrayLike, span: Span
) -> Floats:
    """Evaluate laws.

    Parameters
    ----------
    law : int or ndarray of int
        Place in `LAWS`.
    shape : float or ndarray
        t0 or tau, in the unit of `times`; not used where linear.
    times : array_like
        Broadcast with `law` and `shape`.
    span : Span

    Returns
    -------
    ndarray
        0 at ``span.first``, 1 at ``span.longest``.
    """
    past = np.asarray(times, dtype=np.float64) - span.first
    scale = np.where(np.asarray(law) == 0, 1.0, shape)  # no infinity enters
    # Times start where the measuring does, so that a law's own start needs no measurement there.
    raw = _raw(np.asarray(law), past, np.asarray(scale))
    return np.asarray(raw / _raw(np.asarray(law), np.float64(span.length), np.asarray(scale)))


def _raw(law: npt.NDArray[np.intp], past: Floats | np.float64, scale: Floats) -> Floats:
    ahead = np.maximum(past, -0.99 * scale)  # before the first time a logarithm may not exist
    return np.asarray(
        np.select(
            [law == 0, law == 1],
            [past + 0.0 * scale, np.log1p(ahead / scale)],
            -np.expm1(-ahead / scale),
        )
    )


def reached(law: npt.NDArray[np.intp], shape: Floats, value: Floats, span: Span) -> Floats:
    """Give the time at which laws reach a value of 0 or more: the inverse of `curve`.

    Parameters
    ----------
    law, shape : ndarray of shape (n,)
    value : ndarray of shape (n,)
        At least 0.
    span : Span

    Returns
    -------
    ndarray of shape (n,)
        Infinite where a saturating law never gets there.
    """
    scale = np.where(law == 0, 1.0, shape)
    raw = value * _raw(law, np.float64(span.length), scale)
    with np.errstate(over="ignore", divide="ignore"):
        past = np.select(
            [law == 0, law == 1],
            [raw, scale * np.expm1(raw)],
            -scale * np.log1p(-np.minimum(raw, 1.0)),
        )
    return np.asarray(span.first + past)
