"""Metrics of a frequency response: level, effective range, deviation.

Between points the curve is straight in dB over log frequency, so no metric depends on how
densely, in which order or in which unit the same curve was written down.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics.bands import Energy, G, octaves, smooth
from experiments.acoustics.curves import Response

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = [
    "Deviation",
    "EffectiveRange",
    "cover",
    "deviation",
    "effective_range",
    "level",
    "outline",
    "smoothed",
]

NARROW_TROUGH: Final = 1.0 / 9.0
"""Troughs narrower than this (octaves) do not end the range (IEC 60268-5, from memory)."""

_MANY: Final = 4000
_FINE: Final = 96  # positions per octave at which windows are tried, besides the data points


@dataclass(frozen=True)
class EffectiveRange:
    """Where a response ends.

    Parameters
    ----------
    lower_hz, upper_hz : float or None
        The limits; None where the curve does not fall to the line inside the data.
    reference_db : float
        Largest one-octave energy mean inside the search band, dB.
    octave : (float, float)
        That octave, Hz.
    line_db : float
        reference_db - drop_db.
    passed_over : tuple of float
        Frequencies of the narrow troughs that were passed over, Hz.
    lower_at_edge, upper_at_edge : bool
        The data end less than 1/9 octave after the limit, so that a narrow trough cannot be
        told from the end of the range.
    """

    lower_hz: float | None
    upper_hz: float | None
    reference_db: float
    octave: tuple[float, float]
    line_db: float
    passed_over: tuple[float, ...]
    lower_at_edge: bool
    upper_at_edge: bool


@dataclass(frozen=True)
class Deviation:
    """How uneven a response is inside a band.

    Parameters
    ----------
    half_spread_db : float
        (maximum - minimum) / 2, dB.
    sd_db : float
        Standard deviation with equal weight per logarithmic interval, dB.
    """

    half_spread_db: float
    sd_db: float


def cover(
    response: Response, band: tuple[float, float] | None
) -> tuple[tuple[float, float] | None, bool]:
    """Cut a band to the data.

    Parameters
    ----------
    response : Response
        The curve.
    band : (float, float) or None
        Hz; None stands for everything that the measurement carries.

    Returns
    -------
    (float, float) or None
        The part of the band that is carried; None if the data miss more at an end of it than one
        step of their own grid (at least 1/24, at most 1/3 octave).
    bool
        Whether the band had to be cut.
    """
    f = response.frequency
    low, high = max(float(f[0]), response.floor_hz), float(f[-1])
    if band is None:
        return ((low, high), False) if low < high else (None, True)
    least, most = G ** (1 / 24), G ** (1 / 3)
    slack_low = min(max(float(f[1] / f[0]), least), most) if low == f[0] else least
    slack_high = min(max(float(f[-1] / f[-2]), least), most)
    tolerance = 1 + 1e-9
    if band[0] * slack_low * tolerance < low or band[1] / (slack_high * tolerance) > high:
        return None, True
    cut = max(band[0], low), min(band[1], high)
    return cut, cut != band


def smoothed(response: Response, fraction: float | None) -> Response:
    """Smooth a response; the result also holds points of a fixed fine grid.

    Parameters
    ----------
    response : Response
        The curve.
    fraction : float or None
        N of 1/N octave; None returns the curve as it is.

    Returns
    -------
    Response
        Smoothed on p², without phase.
    """
    if fraction is None:
        return response
    at = _union(response.frequency, max(_FINE, 8 * fraction))
    level_db = smooth(response.frequency, response.level, fraction, at)
    return Response(at, level_db, floor_hz=response.floor_hz)


def outline(response: Response, fraction: float = 24.0) -> Response:
    """Return a smoothed curve on a fixed grid, in which noise makes no peaks.

    Parameters
    ----------
    response : Response
        A curve of many points, such as a transform gives.
    fraction : float
        N of 1/N octave.

    Returns
    -------
    Response
        At four points a window.
    """
    f = response.frequency
    at = _fixed_grid(float(f[0]), float(f[-1]), 4 * fraction)
    if at.size < 8:
        return response
    return Response(at, smooth(f, response.level, fraction, at), floor_hz=response.floor_hz)


def level(response: Response, band: tuple[float, float]) -> float:
    """Return the energy mean level over a band.

    Parameters
    ----------
    response : Response
        The curve.
    band : (float, float)
        Hz, inside the data (see `cover`).

    Returns
    -------
    float
        dB.
    """
    return float(Energy(response.frequency, response.level).mean_level(*band))


def deviation(response: Response, band: tuple[float, float]) -> Deviation:
    """Return half the spread and the standard deviation of the level in a band.

    Parameters
    ----------
    response : Response
        The curve, smoothed beforehand if wanted.
    band : (float, float)
        Hz, inside the data (see `cover`).

    Returns
    -------
    Deviation
        Both in dB; exact for the curve that is straight between the points.
    """
    x, y = _cut(response, band)
    width = np.diff(x)
    total = float(x[-1] - x[0])
    mean = float(np.sum(width * (y[1:] + y[:-1])) / 2 / total)
    a, b = y[:-1] - mean, y[1:] - mean
    variance = float(np.sum(width * (a * a + a * b + b * b)) / 3 / total)
    return Deviation(float(np.max(y) - np.min(y)) / 2, math.sqrt(max(variance, 0.0)))


def effective_range(
    response: Response, drop_db: float = 10.0, band: tuple[float, float] | None = None
) -> EffectiveRange:
    """Find the effective frequency range.

    Parameters
    ----------
    response : Response
        The curve, smoothed beforehand if wanted.
    drop_db : float
        Drop below the reference that ends the range, dB.
    band : (float, float), optional
        Where the octave of the reference is searched, Hz; cut to the data.

    Returns
    -------
    EffectiveRange
        The limits and how they came about.

    Notes
    -----
    In the sense of IEC 60268-5 (effective frequency range): reference is the mean over the
    octave of highest sensitivity; troughs narrower than 1/9 octave at the line are neglected.
    A search band of less than one octave is taken as a whole.
    """
    octave, reference = _reference(response, band)
    line = reference - drop_db
    x, gap = np.log(response.frequency), response.level - line
    inside = np.flatnonzero(
        (x >= math.log(octave[0]) - 1e-12) & (x <= math.log(octave[1]) + 1e-12)
    )
    if inside.size == 0:
        inside = np.array([int(np.argmin(np.abs(x - math.log(octave[0] * octave[1]) / 2)))])
    start = int(inside[np.argmax(gap[inside])])
    upper, upper_edge, passed_up = _walk(x[start:], gap[start:])
    lower, lower_edge, passed_down = _walk(-x[start::-1], gap[start::-1])
    return EffectiveRange(
        None if lower is None else math.exp(-lower),
        None if upper is None else math.exp(upper),
        reference,
        octave,
        line,
        tuple(sorted(math.exp(p) for p in [*passed_up, *(-q for q in passed_down)])),
        lower_edge,
        upper_edge,
    )


def _reference(
    response: Response, band: tuple[float, float] | None
) -> tuple[tuple[float, float], float]:
    """Find the octave of the largest energy mean; a narrower band is taken whole."""
    f = response.frequency
    low, high = max(float(f[0]), response.floor_hz), float(f[-1])
    if band is not None and band[0] < high and band[1] > low:
        low, high = max(low, band[0]), min(high, band[1])
    energy = Energy(f, response.level)
    if octaves(low, high) <= 1.0:
        return (low, high), float(energy.mean_level(low, high))
    # With many points the mean moves so little between them that a fixed grid finds the place.
    edges = _union(f, _FINE) if f.size < _MANY else _fixed_grid(low, high, 4 * _FINE)
    starts = np.concatenate((edges, edges / G, [low, high / G]))
    starts = starts[(starts >= low) & (starts <= high / G)]
    means = energy.mean_level(starts, starts * G)
    best = int(np.argmax(means))
    return (float(starts[best]), float(starts[best] * G)), float(means[best])


def _walk(
    x: npt.NDArray[np.float64], gap: npt.NDArray[np.float64]
) -> tuple[float | None, bool, list[float]]:
    """Walk up x from a point over the line to where the curve goes under it for good.

    Returns the crossing (or None), whether the data end within 1/9 octave of it, and the
    middles of the narrow troughs that were passed over.
    """
    above = gap >= 0
    downs = np.flatnonzero(above[:-1] & ~above[1:])
    ups = np.flatnonzero(~above[:-1] & above[1:])
    narrow = NARROW_TROUGH * math.log(G)
    passed: list[float] = []
    for order, down in enumerate(downs):
        fall = _crossing(x, gap, int(down))
        if order >= ups.size:
            return fall, bool(x[-1] - fall < narrow), passed
        rise = _crossing(x, gap, int(ups[order]))
        if rise - fall >= narrow:
            return fall, False, passed
        passed.append((fall + rise) / 2)
    return None, False, passed


def _crossing(x: npt.NDArray[np.float64], gap: npt.NDArray[np.float64], place: int) -> float:
    share = gap[place] / (gap[place] - gap[place + 1])
    return float(x[place] + share * (x[place + 1] - x[place]))


def _cut(
    response: Response, band: tuple[float, float]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Return log frequency and level inside a band, its edges interpolated."""
    x = np.log(response.frequency)
    edges = np.log(np.asarray(band))
    inside = (x > edges[0]) & (x < edges[1])
    ends = np.interp(edges, x, response.level)
    return (
        np.concatenate((edges[:1], x[inside], edges[1:])),
        np.concatenate((ends[:1], response.level[inside], ends[1:])),
    )


def _union(frequency: npt.NDArray[np.float64], per_octave: float) -> npt.NDArray[np.float64]:
    """Join the data's frequencies with a fixed logarithmic grid anchored at 1 kHz."""
    low, high = float(frequency[0]), float(frequency[-1])
    grid = _fixed_grid(low, high, per_octave)
    joined = np.union1d(frequency, grid[(grid > low) & (grid < high)])
    # Points that differ only by rounding would make a segment of no width.
    keep = np.concatenate(([True], np.diff(joined) > joined[1:] * 1e-12))
    result: npt.NDArray[np.float64] = joined[keep]
    return result


def _fixed_grid(low: float, high: float, per_octave: float) -> npt.NDArray[np.float64]:
    """Return the points of a logarithmic grid through 1 kHz between two frequencies."""
    first = math.ceil(per_octave * octaves(1000.0, low))
    last = math.floor(per_octave * octaves(1000.0, high))
    grid: npt.NDArray[np.float64] = 1000.0 * G ** (np.arange(first, last + 1) / per_octave)
    return grid
