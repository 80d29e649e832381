"""Distortion conventions, and the THD peak.

References
----------
IEC 60268-5 relates distortion to the total signal, IEC 60268-21 mostly to the fundamental
(both from memory); the two differ by d / sqrt(1 + d²).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import numpy.typing as npt

    from experiments.acoustics.curves import Distortion

__all__ = [
    "DistortionPeak",
    "below_a_harmonic",
    "highest_fundamental",
    "of_fundamental",
    "of_total",
    "percent_from_db",
    "thd",
    "thd_peak",
    "total_harmonic",
]


_AUDIBLE: Final = 20000.0
_ROUNDING: Final = 0.01  # %: files give two digits behind the point
_MARGIN: Final = 1.05


@dataclass(frozen=True)
class DistortionPeak:
    """The THD peak.

    Parameters
    ----------
    frequency : float
        Of the fundamental, Hz.
    thd : float
        Percent, of what was asked for.
    harmonics : mapping of int to float
        Order to percent of the fundamental there; NaN where it is not known.
    at_edge : bool
        Whether the peak stands at an end of the band or of the data.
    unused : int
        Points whose harmonics lie beyond the bandwidth or are not known.
    noise_margin_db : float or None
        THD over the noise at the peak, dB; None where the noise is not known.
    covered : (float, float)
        Lowest and highest fundamental that was looked at, Hz.
    """

    frequency: float
    thd: float
    harmonics: Mapping[int, float]
    at_edge: bool
    unused: int
    noise_margin_db: float | None
    covered: tuple[float, float]


def percent_from_db(level: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Return 100·10^(dB/20): -40 dB is 1 %."""
    result: npt.NDArray[np.float64] = 100.0 * 10.0 ** (np.asarray(level, dtype=np.float64) / 20.0)
    return result


def of_total(percent: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Turn percent of the fundamental into percent of the total: d / sqrt(1 + d²)."""
    d = np.asarray(percent, dtype=np.float64) / 100.0
    result: npt.NDArray[np.float64] = 100.0 * d / np.sqrt(1.0 + d * d)
    return result


def of_fundamental(percent: npt.ArrayLike) -> npt.NDArray[np.float64]:
    """Turn percent of the total into percent of the fundamental: d / sqrt(1 - d²)."""
    d = np.asarray(percent, dtype=np.float64) / 100.0
    result: npt.NDArray[np.float64] = 100.0 * d / np.sqrt(1.0 - d * d)
    return result


def thd(amplitudes: npt.ArrayLike, of: Literal["fundamental", "total"] = "fundamental") -> float:
    """Return the THD of a list of amplitudes.

    Parameters
    ----------
    amplitudes : array_like, shape (n,)
        Amplitudes of the fundamental and of harmonics 2..n, any linear unit.
    of : {"fundamental", "total"}
        Reference.

    Returns
    -------
    float
        Percent.
    """
    values = np.asarray(amplitudes, dtype=np.float64)
    ratio = 100.0 * float(np.sqrt(np.sum(values[1:] ** 2)) / abs(values[0]))
    return float(of_total(ratio)) if of == "total" else ratio


def total_harmonic(harmonics: Iterable[npt.ArrayLike]) -> npt.NDArray[np.float64]:
    """Return the root of the sum of squares of several harmonics, NaN where any is NaN.

    Parameters
    ----------
    harmonics : iterable of array_like, shape (n,)
        Percent of the fundamental.

    Returns
    -------
    ndarray, shape (n,)
        Percent of the fundamental.
    """
    stacked = np.stack([np.asarray(h, dtype=np.float64) for h in harmonics])
    result: npt.NDArray[np.float64] = np.sqrt(np.sum(stacked**2, axis=0))
    return result


def thd_peak(
    distortion: Distortion,
    band: tuple[float, float] | None = None,
    thd_of: Literal["fundamental", "total"] = "fundamental",
) -> DistortionPeak | None:
    """Find the largest THD in a band.

    Parameters
    ----------
    distortion : Distortion
        The curves.
    band : (float, float), optional
        Frequencies of the fundamental, Hz. Band edges inside the data are interpolated
        (linear in percent over log frequency).
    thd_of : {"fundamental", "total"}
        What THD is a percentage of.

    Returns
    -------
    DistortionPeak or None
        None if no usable point lies in the band.
    """
    total = _total(distortion)
    known = ~np.isnan(total)
    for values in distortion.harmonics.values() if distortion.bandwidth_hz is None else ():
        # Blank from some frequency on: there the harmonic lies beyond the bandwidth.
        filled = np.flatnonzero(~np.isnan(values))
        if filled.size:
            known[filled[-1] + 1 :] = False
    known &= distortion.frequency <= highest_fundamental(distortion) * (1 + 1e-9)
    unused = int(np.count_nonzero(~known))
    known = _clear(distortion, total, known, band)
    if not np.any(known):
        return None
    x = np.log(distortion.frequency[known])
    places = _places(x, band)
    if places.size == 0:
        return None
    values = np.interp(places, x, total[known])
    best = int(np.argmax(values))
    at = float(places[best])
    value = float(values[best])
    return DistortionPeak(
        float(np.exp(at)),
        float(of_total(value)) if thd_of == "total" else value,
        {k: _at(distortion, h, at) for k, h in distortion.harmonics.items()},
        best in (0, places.size - 1),
        unused,
        _margin(distortion, at, value),
        (float(np.exp(places[0])), float(np.exp(places[-1]))),
    )


def below_a_harmonic(distortion: Distortion) -> list[tuple[float, float, float]]:
    """Find the points at which the stated THD is below one of its harmonics, which cannot be.

    Parameters
    ----------
    distortion : Distortion
        The curves.

    Returns
    -------
    list of (float, float, float)
        Frequency (Hz), THD and the largest harmonic (%), the worst first. A margin is left for
        rounding, and for THD relative to the total.
    """
    if distortion.thd is None or not distortion.harmonics:
        return []
    stacked = np.stack([np.nan_to_num(h) for h in distortion.harmonics.values()])
    largest = np.max(stacked, axis=0)
    ratio = (distortion.thd + _ROUNDING) * _MARGIN / np.maximum(of_total(largest), 1e-12)
    found = np.flatnonzero(ratio < 1)
    return [
        (float(distortion.frequency[i]), float(distortion.thd[i]), float(largest[i]))
        for i in found[np.argsort(ratio[found])]
    ]


def _total(distortion: Distortion) -> npt.NDArray[np.float64]:
    if distortion.thd is not None:
        return distortion.thd
    filled = [h for h in distortion.harmonics.values() if not np.all(np.isnan(h))]
    return total_harmonic(filled or distortion.harmonics.values())


def highest_fundamental(distortion: Distortion) -> float:
    """Return the highest fundamental whose harmonics lie within the bandwidth.

    Parameters
    ----------
    distortion : Distortion
        The curves.

    Returns
    -------
    float
        Hz. Where the bandwidth is known all harmonics must lie inside it. Where it is not, it is
        taken as 20 kHz, or as far as the file's own frequencies go, and the second must.
    """
    if distortion.bandwidth_hz is not None:
        return distortion.bandwidth_hz / max(distortion.harmonics, default=2)
    return max(_AUDIBLE, float(distortion.frequency[-1])) / 2


def _clear(
    distortion: Distortion,
    total: npt.NDArray[np.float64],
    known: npt.NDArray[np.bool_],
    band: tuple[float, float] | None,
) -> npt.NDArray[np.bool_]:
    """Leave out points within 6 dB of the noise, as long as others in the band stand clear."""
    if distortion.noise is None:
        return known
    clear = known & ~(total < 2.0 * distortion.noise)
    low, high = band or (0.0, np.inf)
    inside = (distortion.frequency >= low) & (distortion.frequency <= high)
    return clear if np.any(clear & inside) else known


def _places(
    x: npt.NDArray[np.float64], band: tuple[float, float] | None
) -> npt.NDArray[np.float64]:
    """Log frequencies to look at: the points in the band and its edges inside the data."""
    if band is None:
        return x
    low, high = np.log(np.asarray(band))
    slack = 1e-9
    inside = x[(x >= low - slack) & (x <= high + slack)]
    edges = np.array([edge for edge in (low, high) if x[0] < edge < x[-1]])
    joined: npt.NDArray[np.float64] = np.unique(np.concatenate((inside, edges)))
    return joined


def _at(distortion: Distortion, values: npt.NDArray[np.float64], x: float) -> float:
    """Interpolate a column at log frequency x; NaN if a neighbour that counts is NaN."""
    grid = np.log(distortion.frequency)
    here = int(np.argmin(np.abs(grid - x)))
    if abs(grid[here] - x) < 1e-9:
        return float(values[here])
    return float(np.interp(x, grid, values))


def _margin(distortion: Distortion, x: float, value: float) -> float | None:
    if distortion.noise is None:
        return None
    noise = _at(distortion, distortion.noise, x)
    if np.isnan(noise):
        return None
    if noise <= 0:
        return float("inf")
    return float(20.0 * np.log10(max(value, 1e-12) / noise))
