"""The break-up resonance: finding its peak, and its frequency and Q from the pole pair.

The 3 dB width is not used: on a broad peak, or on one that stands on a slope, it misleads.
Instead the curve around the peak is fitted with a pole pair and a numerator of second order,

    |H|² = |a + b s + c s²|² / |w² + w s / Q + s²|²,

times a slight tilt, which holds a second-order low-pass, band-pass and high-pass, and a mode on
top of a flat response (the single-mode form of experimental modal analysis; Ewins, Modal
Testing, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.optimize import least_squares
from scipy.signal import find_peaks

from experiments.acoustics.bands import G, octaves

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.curves import Response

__all__ = [
    "Peak",
    "PolePair",
    "fit_pole_pair",
    "fundamental_peak",
    "octaves_of_bandwidth",
    "peaks",
]

_STARTS: Final = (1.5, 4.0, 12.0, 40.0)  # Q values from which the fit starts
_MAX_RMS: Final = 0.7  # dB: a worse fit does not describe the peak
_MAX_SD: Final = 0.2  # of ln Q: about 20 %
_TILT_WEIGHT: Final = 0.0025  # dB of misfit for a tilt of 1 dB per unit of log frequency
_POINTS: Final = 200
_NEAR: Final = 0.03  # of log frequency
_Q_RANGE: Final = (math.log(0.5), math.log(2000))  # of ln Q; beyond it a fit has run away
_FLOOR: Final = 0.003  # dB of misfit at which the uncertainty is worked out at least


@dataclass(frozen=True)
class Peak:
    """A local maximum of a response.

    Parameters
    ----------
    frequency : float
        Hz.
    level : float
        dB.
    prominence : float
        Topographic prominence, dB.
    """

    frequency: float
    level: float
    prominence: float


@dataclass(frozen=True)
class PolePair:
    """A resonance as a pole pair.

    Parameters
    ----------
    frequency : float
        Natural frequency, Hz.
    q : float
        Quality factor.
    sd_log_q : float
        Standard uncertainty of ln Q from the scatter of the fit.
    rms_db : float
        Root mean square misfit, dB.
    """

    frequency: float
    q: float
    sd_log_q: float
    rms_db: float

    @property
    def described(self) -> bool:
        """Whether a pole pair describes the peak at all."""
        return self.rms_db <= _MAX_RMS

    @property
    def carried(self) -> bool:
        """Whether the data carry the Q."""
        return self.described and self.sd_log_q <= _MAX_SD


def octaves_of_bandwidth(q: float) -> float:
    """Return the half-power width of a resonance of high Q, octaves: 1 / (Q ln 2)."""
    return 1.0 / (q * math.log(2.0))


def peaks(response: Response, prominence_db: float = 3.0) -> list[Peak]:
    """Find every local maximum with at least the stated prominence, lowest frequency first.

    Parameters
    ----------
    response : Response
        The curve; end points are no peaks.
    prominence_db : float
        Least topographic prominence (as `scipy.signal.peak_prominences` defines it), dB.

    Returns
    -------
    list of Peak
        May be empty.
    """
    places, found = find_peaks(response.level, prominence=prominence_db)
    return [
        Peak(float(response.frequency[i]), float(response.level[i]), float(height))
        for i, height in zip(places, found["prominences"], strict=True)
    ]


def fundamental_peak(response: Response, peak: Peak) -> bool:
    """Tell whether a peak is the driver's own fundamental resonance.

    Parameters
    ----------
    response : Response
        The curve.
    peak : Peak
        The lowest peak.

    Returns
    -------
    bool
        True if the curve falls below the peak as steeply as under a driver's resonance and
        stays that low. False also where the data do not reach half an octave down.

    Notes
    -----
    The fall is looked at between the lower end of the data, at most two octaves under the peak,
    and half as many octaves. A high-pass of second order with its resonance at u = 1 goes there
    as u² / (1 - u²), a band-pass as u / (1 - u²); the limit lies in the middle between them.
    """
    reach = min(octaves(float(response.frequency[0]), peak.frequency), 2.0)
    if reach < 0.5:
        return False
    u = G ** (-reach * np.array([0.5, 1.0]))
    fall = 20 * math.log10(float(np.divide(*(u**1.5 / (1 - u**2)))))
    x = np.log(response.frequency)
    upper, lower = np.interp(np.log(peak.frequency * u), x, response.level)
    below = response.level[response.frequency <= peak.frequency * u[1]]
    return bool(max(lower, np.max(below, initial=lower)) <= upper - fall)


def fit_pole_pair(
    response: Response, peak: Peak, outline: Response | None = None
) -> PolePair | None:
    """Fit a pole pair to the curve around a peak.

    Parameters
    ----------
    response : Response
        The curve, not smoothed (smoothing widens a peak).
    peak : Peak
        The peak to describe.
    outline : Response, optional
        The curve in which neighbouring peaks are looked for, by default `response`.

    Returns
    -------
    PolePair or None
        None where fewer than 8 points surround the peak or no fit converges near it.

    Notes
    -----
    First over an octave to each side (less where a neighbouring peak is nearer), then over three
    bandwidths of what was found, so that the rest of the curve counts less.
    """
    low, high = _window(outline or response, peak)
    found = _fit(response, peak, low, high, _STARTS)
    if found is None:
        return None
    width = G ** max(3 * octaves_of_bandwidth(found.q), 0.12)
    narrow = max(low, peak.frequency / width), min(high, peak.frequency * width)
    return _fit(response, peak, *narrow, (found.q,)) or found


def _fit(
    response: Response, peak: Peak, low: float, high: float, starts: tuple[float, ...]
) -> PolePair | None:
    """Fit between two frequencies, from several starting Q; the best fit counts."""
    chosen = (response.frequency >= low) & (response.frequency <= high)
    if np.count_nonzero(chosen) < 8:
        return None
    x, y = _thinned(
        np.log(response.frequency[chosen] / peak.frequency), response.level[chosen] - peak.level
    )
    # Even weight on a scale that is linear near the peak and logarithmic further away.
    weight = np.sqrt(np.gradient(x) / (_NEAR + np.abs(x)))
    weight /= math.sqrt(float(np.mean(weight**2)))
    fits = [_refine(x, y, weight, q) for q in starts]
    best = min((fit for fit in fits if fit is not None), key=lambda fit: fit[0], default=None)
    if best is None:
        return None
    _, p, sd, rms = best
    # In logarithms, since a fit that ran away has a Q that no float can hold.
    if not (abs(p[0]) < 0.35 and _Q_RANGE[0] < p[1] < _Q_RANGE[1]):
        return None
    return PolePair(peak.frequency * math.exp(p[0]), math.exp(p[1]), sd, rms)


def _thinned(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Reduce a curve of many points to two hundred, densest at the peak (x = 0)."""
    if x.size <= _POINTS:
        return x, y
    t = np.linspace(np.arcsinh(x[0] / _NEAR), np.arcsinh(x[-1] / _NEAR), _POINTS + 1)
    edges = np.clip(_NEAR * np.sinh(t), x[0], x[-1])
    # Means over cells rather than single points, so that noise averages out.
    area = np.concatenate(([0.0], np.cumsum(np.diff(x) * (y[1:] + y[:-1]) / 2)))
    place = np.clip(np.searchsorted(x, edges, side="right") - 1, 0, x.size - 2)
    part = edges - x[place]
    slope = (y[place + 1] - y[place]) / (x[place + 1] - x[place])
    until = area[place] + part * (y[place] + slope * part / 2)
    return (edges[1:] + edges[:-1]) / 2, np.diff(until) / np.diff(edges)


def _window(response: Response, peak: Peak) -> tuple[float, float]:
    """Return an octave to each side, or up to the valley before the next peak over 1 dB."""
    f = response.frequency
    low, high = peak.frequency / G, peak.frequency * G
    places, _ = find_peaks(response.level, prominence=min(1.0, peak.prominence / 3))
    here = int(np.searchsorted(f, peak.frequency))
    left, right = places[places < here], places[places > here]
    if left.size:
        valley = left[-1] + int(np.argmin(response.level[left[-1] : here]))
        low = max(low, float(f[valley]))
    if right.size:
        valley = here + int(np.argmin(response.level[here : right[0]]))
        high = min(high, float(f[valley]))
    return low, high


def _parts(
    p: npt.NDArray[np.float64], v: npt.NDArray[np.float64]
) -> tuple[float, float, npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """w², 1/Q², |N|² and |D|² at v = u²; exponents limited so that a wild step stays finite."""
    w, r = math.exp(2 * min(max(p[0], -5), 5)), math.exp(-2 * min(max(p[1], -10), 15))
    top = (p[2] - p[4] * v) ** 2 + p[3] ** 2 * v + 1e-30
    bottom = (w - v) ** 2 + w * v * r + 1e-30
    return w, r, top, bottom


def _model(p: npt.NDArray[np.float64], u: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Level in dB of the pole pair; p = ln w, ln Q, a, b, c."""
    _, _, top, bottom = _parts(p, u * u)
    result: npt.NDArray[np.float64] = 10 * np.log10(top / bottom)
    return result


def _gradient(p: npt.NDArray[np.float64], u: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the derivatives of `_model` by ln w, ln Q, a, b, c, shape (n, 5)."""
    v = u * u
    w, r, top, bottom = _parts(p, v)
    inner = p[2] - p[4] * v
    return np.asarray(
        (10 / math.log(10))
        * np.column_stack(
            [
                -2 * w * (2 * (w - v) + v * r) / bottom,
                2 * w * v * r / bottom,
                2 * inner / top,
                2 * p[3] * v / top,
                -2 * v * inner / top,
            ]
        ),
        dtype=np.float64,
    )


def _refine(
    x: npt.NDArray[np.float64],
    y: npt.NDArray[np.float64],
    weight: npt.NDArray[np.float64],
    q: float,
) -> tuple[float, npt.NDArray[np.float64], float, float] | None:
    """Least squares in dB from one starting Q; returns cost, p, sd of ln Q and rms misfit."""
    u = np.exp(x)
    hold = _TILT_WEIGHT * math.sqrt(x.size)
    start = np.array([0.0, math.log(q), *_numerator(u, y, q), 0.0])

    def misfit(p: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.append(weight * (_model(p, u) + p[5] * x - y), hold * p[5])

    def slope(p: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        rows = np.column_stack([_gradient(p, u), x]) * weight[:, None]
        return np.vstack([rows, [0.0, 0.0, 0.0, 0.0, 0.0, hold]])

    fit = least_squares(
        misfit, start, slope, method="lm", x_scale="jac", max_nfev=120, ftol=1e-7, xtol=1e-7
    )
    if not np.all(np.isfinite(fit.x)):
        return None
    left = np.asarray(fit.fun, dtype=np.float64)[:-1]
    rms = math.sqrt(float(np.mean(left**2)))
    slopes = np.asarray(fit.jac, dtype=np.float64)
    spread = max(rms, _FLOOR) ** 2 * x.size / _independent(left)
    covariance = np.linalg.pinv(slopes.T @ slopes) * spread
    return float(fit.cost), fit.x, math.sqrt(max(float(covariance[1, 1]), 0.0)), rms


def _independent(left: npt.NDArray[np.float64]) -> float:
    """Count how many residuals are worth one each: ripples make neighbours alike."""
    total = float(np.sum(left**2))
    alike = float(np.sum(left[1:] * left[:-1])) / total if total > 0 else 0.0
    alike = min(max(alike, 0.0), 0.99)
    return max(left.size * (1 - alike) / (1 + alike) - 6, 1.0)


def _numerator(
    u: npt.NDArray[np.float64], y: npt.NDArray[np.float64], q: float
) -> tuple[float, float, float]:
    """Start values a, b, c: linear least squares of |N|² = A + B v + C v², relative errors."""
    v = u * u
    target = 10 ** (y / 10) * ((1 - v) ** 2 + v / q**2)
    rows = np.stack([np.ones_like(v), v, v * v], axis=1) / target[:, None]
    big_a, big_b, big_c = np.linalg.lstsq(rows, np.ones_like(v), rcond=None)[0]
    a, c = math.sqrt(max(big_a, 1e-6)), math.sqrt(max(big_c, 1e-6))
    return a, math.sqrt(max(big_b + 2 * a * c, 1e-6)), c
