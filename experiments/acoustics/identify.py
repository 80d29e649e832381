"""Which exponential sweep a file holds, found from its samples alone.

The phase of an exponential sweep is A e^(t/L) + C. L follows from a fit to the phase of the
analytic signal, f1 from A at the first loud sample, made exact by C: the sweep starts as a sine.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import next_fast_len
from scipy.optimize import minimize_scalar
from scipy.signal import hilbert

from experiments.acoustics.options import Sweep
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["identify"]

_LOUD: Final = 1e-3  # of the peak
_MISFIT: Final = 0.2  # rad, rms: what is no exponential sweep misses by whole turns
_POINTS: Final = 20_000
_INSIDE: Final = (0.1, 0.9)  # of the duration: the analytic signal is poor at its ends


def identify(samples: npt.NDArray[np.float64], rate: float, name: str) -> Sweep:
    """Find the settings of a sweep.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The excitation, silence around it or not.
    rate : float
        Sampling rate, Hz.
    name : str
        For messages.

    Returns
    -------
    Sweep
        Exponential (a synchronised one is that too, with its own L), without fades.

    Raises
    ------
    CurveError
        If the samples are no rising exponential sweep.
    """
    loud = np.flatnonzero(np.abs(samples) > _LOUD * np.max(np.abs(samples), initial=0.0))
    if loud.size < 1000:
        raise _no_sweep(name, "hardly any signal")
    part = samples[loud[0] : loud[-1] + 1]
    analytic = hilbert(part, next_fast_len(part.size))[: part.size]
    low, high = (int(share * part.size) for share in _INSIDE)
    phase = np.unwrap(np.angle(analytic))[low:high]
    t = np.arange(low, high) / rate
    length = _first_length(t, phase, name)
    pick = slice(None, None, max(phase.size // _POINTS, 1))
    found = minimize_scalar(
        lambda logarithm: _fit(t[pick], phase[pick], math.exp(logarithm))[2],
        bounds=(math.log(0.9 * length), math.log(1.1 * length)),
        method="bounded",
        options={"xatol": 1e-10},
    )
    length = math.exp(float(found.x))
    a, c, misfit = _fit(t[pick], phase[pick], length)
    if misfit > _MISFIT or a <= 0:
        raise _no_sweep(name, f"a signal whose phase misses one by {misfit:.2g} rad")
    start = _start(a, c, length)
    growth = math.exp(min(part.size / rate / length, 700.0))
    stop = min(a / (2 * math.pi * length) * growth, 0.499 * rate)
    seconds = length * math.log(stop / start)
    peak = float(np.median(np.abs(analytic[low:high])))
    return Sweep(start, stop, seconds, "exponential", peak)


def _no_sweep(name: str, found: str) -> CurveError:
    return CurveError(
        Problem(
            name, found, "an exponential sweep, or its sidecar beside it",
            "Say --sweep F1:F2:SECONDS.",
        )
    )  # fmt: skip


def _first_length(t: npt.NDArray[np.float64], phase: npt.NDArray[np.float64], name: str) -> float:
    """Guess L from the slope of the logarithm of the frequency, over stretches of the phase."""
    edges = np.linspace(0, t.size - 1, 41).astype(int)
    frequency = np.diff(phase[edges]) / np.diff(t[edges]) / (2 * np.pi)
    if np.any(frequency <= 0):
        raise _no_sweep(name, "a signal that is no single rising tone")
    middle = (t[edges[1:]] + t[edges[:-1]]) / 2
    slope = float(np.polyfit(middle, np.log(frequency), 1)[0])
    if slope * (t[-1] - t[0]) < 0.5:
        raise _no_sweep(name, "a tone that does not rise")
    return 1 / slope


def _fit(
    t: npt.NDArray[np.float64], phase: npt.NDArray[np.float64], length: float
) -> tuple[float, float, float]:
    """Fit A e^(t/L) + C to the phase; returns A, C and the rms misfit in rad."""
    basis = np.stack([np.exp((t - t[-1]) / length), np.ones(t.size)], axis=1)
    parts, *_ = np.linalg.lstsq(basis, phase, rcond=None)
    misfit = float(np.sqrt(np.mean((basis @ parts - phase) ** 2)))
    return float(parts[0]) * math.exp(-t[-1] / length), float(parts[1]), misfit


def _start(a: float, c: float, length: float) -> float:
    """First frequency: C says what f1 L is beyond a whole number, A about where it lies.

    The analytic phase of sin(x) is x - pi/2, so C = -2 pi f1 L - pi/2 but for whole turns.
    """
    about = a / (2 * math.pi * length)
    rest = (-c - math.pi / 2) / (2 * math.pi)
    return (round(about * length - rest) + rest) / length
