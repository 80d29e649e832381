"""Fractional-octave bands, energy means and smoothing that do not depend on the grid.

Between two points a response is taken as straight in dB over log frequency. Every mean here is
the exact integral of that line, so writing the same curve on a denser grid changes nothing.

References
----------
IEC 61260-1:2014, clause 5 (base-ten octave ratio, mid-band and edge frequencies);
ISO 266:1997 (nominal frequencies). Clause numbers from memory.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["Band", "Energy", "G", "band", "bands", "energy_mean", "nominal", "octaves", "smooth"]

G: Final = 10.0**0.3
"""Octave ratio, base ten: 1.995262 (IEC 61260-1, 5.2)."""

_LN_G: Final = math.log(G)
_REFERENCE: Final = 1000.0
_NOMINAL: Final = (1000, 1250, 1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000)  # ISO 266


@dataclass(frozen=True)
class Band:
    """One fractional-octave band.

    Parameters
    ----------
    index : int
        x of IEC 61260-1; 0 is at (odd b) or just above (even b) 1 kHz.
    fraction : int
        b: the band is 1/b octave wide.
    low, mid, high : float
        Exact lower edge, mid-band and upper edge frequency, Hz.
    nominal : float
        Nominal mid-band frequency, Hz.
    """

    index: int
    fraction: int
    low: float
    mid: float
    high: float
    nominal: float


def octaves(low: float, high: float) -> float:
    """Return the width between two frequencies in base-ten octaves."""
    return math.log(high / low) / _LN_G


def band(index: int, fraction: int = 3) -> Band:
    """Return one band of IEC 61260-1.

    Parameters
    ----------
    index : int
        x.
    fraction : int
        b, at least 1.

    Returns
    -------
    Band
        f_m = 1000 G^(x/b) for odd b, 1000 G^((2x+1)/(2b)) for even b; edges f_m G^(±1/(2b)).

    Raises
    ------
    ValueError
        If `fraction` is under 1.
    """
    if fraction < 1:
        raise ValueError(f"fraction is {fraction}, expected 1 or more")
    exponent = index / fraction if fraction % 2 else (2 * index + 1) / (2 * fraction)
    half = 1.0 / (2 * fraction)
    mid = _REFERENCE * G**exponent
    return Band(
        index,
        fraction,
        _REFERENCE * G ** (exponent - half),
        mid,
        _REFERENCE * G ** (exponent + half),
        nominal(index, fraction),
    )


def bands(low: float, high: float, fraction: int = 3) -> list[Band]:
    """Return every band whose mid-band frequency lies within [low, high], in order.

    Parameters
    ----------
    low, high : float
        Hz.
    fraction : int
        b: 1 for octaves, 3 for third-octaves.

    Returns
    -------
    list of Band
        Ascending.
    """
    offset = 0.0 if fraction % 2 else 0.5
    first = math.ceil(fraction * octaves(_REFERENCE, low) - offset - 1e-9)
    last = math.floor(fraction * octaves(_REFERENCE, high) - offset + 1e-9)
    return [band(index, fraction) for index in range(first, last + 1)]


def nominal(index: int, fraction: int = 3) -> float:
    """Return the nominal mid-band frequency.

    Parameters
    ----------
    index : int
        x.
    fraction : int
        b.

    Returns
    -------
    float
        Hz. Octaves and third-octaves: ISO 266. Others: the exact value to three significant
        digits where it starts with 1 to 4, else to two (IEC 61260-1 Annex E, from memory).
    """
    if fraction in (1, 3):
        decade, place = divmod(index * (3 // fraction), 10)
        value = _NOMINAL[place] * 10.0**decade
        return float(f"{value:.4g}")
    exponent = index / fraction if fraction % 2 else (2 * index + 1) / (2 * fraction)
    exact = _REFERENCE * G**exponent
    digits = 3 if f"{exact:e}"[0] in "1234" else 2
    return float(f"{exact:.{digits}g}")


class Energy:
    """The running integral of p² over log frequency of a curve.

    Parameters
    ----------
    frequency : array_like, shape (n,)
        Hz, ascending.
    level : array_like, shape (n,)
        dB.
    """

    def __init__(self, frequency: npt.ArrayLike, level: npt.ArrayLike) -> None:
        self._x = np.log(np.asarray(frequency, dtype=np.float64))
        level = np.asarray(level, dtype=np.float64)
        self._top = float(np.max(level))
        self._log_power = (level - self._top) * (math.log(10.0) / 10.0)
        steps = _exponential_area(np.diff(self._x), self._log_power[:-1], np.diff(self._log_power))
        # Extended precision: a mean far below the maximum is a difference of large sums.
        self._sum = np.concatenate(([0.0], np.cumsum(steps.astype(np.longdouble))))

    def mean_level(self, low: npt.ArrayLike, high: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Return the energy mean between `low` and `high`, cut to the data.

        Parameters
        ----------
        low, high : array_like
            Band edges in Hz; may be arrays of one shape.

        Returns
        -------
        ndarray
            dB; NaN where the band does not overlap the data.
        """
        start = np.clip(np.log(np.asarray(low, dtype=np.float64)), self._x[0], self._x[-1])
        stop = np.clip(np.log(np.asarray(high, dtype=np.float64)), self._x[0], self._x[-1])
        width = stop - start
        area = (self._until(stop) - self._until(start)).astype(np.float64)
        tiny = np.finfo(np.float64).tiny
        with np.errstate(divide="ignore", invalid="ignore"):
            mean = np.where(width > 0, np.maximum(area, tiny) / width, np.nan)
        return np.asarray(self._top + 10.0 * np.log10(mean), dtype=np.float64)

    def _until(self, x: npt.NDArray[np.float64]) -> npt.NDArray[np.longdouble]:
        place = np.clip(np.searchsorted(self._x, x, side="right") - 1, 0, self._x.size - 2)
        span = self._x[place + 1] - self._x[place]
        inside = x - self._x[place]
        rise = (self._log_power[place + 1] - self._log_power[place]) * (inside / span)
        part = _exponential_area(inside, self._log_power[place], rise)
        return np.asarray(self._sum[place] + part, dtype=np.longdouble)


def _exponential_area(
    width: npt.NDArray[np.float64],
    start: npt.NDArray[np.float64],
    rise: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """Integral of exp(start + rise t / width) over 0..width."""
    small = np.abs(rise) < 1e-8
    safe = np.where(small, 1.0, rise)
    factor = np.where(small, 1.0 + rise / 2.0, np.expm1(safe) / safe)
    area: npt.NDArray[np.float64] = width * np.exp(start) * factor
    return area


def energy_mean(frequency: npt.ArrayLike, level: npt.ArrayLike, low: float, high: float) -> float:
    """Return the energy mean of a curve over one band.

    Parameters
    ----------
    frequency, level : array_like, shape (n,)
        Hz (ascending) and dB.
    low, high : float
        Band edges, Hz; cut to the data.

    Returns
    -------
    float
        dB: 10 lg of the mean of p² with equal weight per logarithmic interval of frequency.
        NaN if the band does not overlap the data.
    """
    return float(Energy(frequency, level).mean_level(low, high))


def smooth(
    frequency: npt.ArrayLike,
    level: npt.ArrayLike,
    fraction: float,
    at: npt.ArrayLike | None = None,
) -> npt.NDArray[np.float64]:
    """Smooth a curve with a rectangular window of 1/fraction octave on p².

    Parameters
    ----------
    frequency, level : array_like, shape (n,)
        Hz (ascending) and dB.
    fraction : float
        N: the window reaches from f G^(-1/(2N)) to f G^(+1/(2N)). At the ends of the data the
        part of the window that holds data is used.
    at : array_like, optional
        Frequencies at which the result is wanted, by default `frequency`.

    Returns
    -------
    ndarray
        dB at `at`.
    """
    centre = np.asarray(frequency if at is None else at, dtype=np.float64)
    half = G ** (1.0 / (2.0 * fraction))
    return Energy(frequency, level).mean_level(centre / half, centre * half)
