"""Laws by which a metric changes with time: linear, logarithmic, saturating.

Each is 0 at the first time seen and 1 at the longest, so that its factor is the drift between the
two, whatever the law. The three are the usual shapes of ageing; common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["LAWS", "Span", "curve", "law_points"]

Floats = npt.NDArray[np.float64]

LAWS = ("linear", "logarithmic", "saturating")
"""``t``; ``ln(1 + t/t0)``; ``1 - exp(-t/tau)``."""

_SHAPES = np.geomspace(0.04, 2.0, 7)  # t0 or tau over the span; slower ones are nearly linear


@dataclass(frozen=True)
class Span:
    """The times seen: `first` and `longest`, in days or hours."""

    first: float
    longest: float

    @property
    def length(self) -> float:
        """From the first to the longest."""
        return self.longest - self.first


def law_points(span: Span) -> list[tuple[int, float]]:
    """Give (place in `LAWS`, t0 or tau) of every law that is tried; infinite for linear."""
    shapes = [float(each) for each in _SHAPES * span.length]
    return [(0, math.inf), *((1, each) for each in shapes), *((2, each) for each in shapes)]


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
