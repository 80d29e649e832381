"""The swept sine as samples.

An exponential sweep x(t) = sin(2 pi f1 L (e^(t/L) - 1)) reaches k times a frequency L ln k later,
whatever the frequency. A synchronised one has L such that f1 L is whole, so that its harmonics
keep their phase.

References
----------
A. Farina, Simultaneous measurement of impulse response and distortion with a swept-sine
technique, AES 108, 2000. A. Novak, P. Lotton, L. Simon, Synchronized swept-sine: theory,
application and implementation, J. Audio Eng. Soc. 63, 2015. (From memory.)
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Sweep

__all__ = ["ended", "generate", "lead", "time_constant"]


def time_constant(sweep: Sweep) -> float:
    """Return L in s.

    Parameters
    ----------
    sweep : Sweep
        The excitation; without a law it is taken as exponential.

    Returns
    -------
    float
        T / ln(f2/f1) (Farina), rounded to a whole number of periods of f1 for a synchronised
        sweep (Novak).

    Raises
    ------
    CurveError
        If a synchronised sweep is shorter than half a period's worth.
    """
    plain = sweep.seconds / math.log(sweep.stop_hz / sweep.start_hz)
    if sweep.law != "synchronised":
        return plain
    periods = round(sweep.start_hz * plain)
    if periods < 1:
        raise CurveError(
            Problem("sweep.seconds", f"{sweep.seconds:g} s", "a longer synchronised sweep")
        )
    return periods / sweep.start_hz


def lead(sweep: Sweep, order: int) -> float:
    """Return by how many seconds harmonic `order` leads the linear response: L ln k."""
    return time_constant(sweep) * math.log(order)


def generate(sweep: Sweep, rate: float, stop_hz: float | None = None) -> npt.NDArray[np.float64]:
    """Make the sweep.

    Parameters
    ----------
    sweep : Sweep
        Its settings.
    rate : float
        Sampling rate, Hz.
    stop_hz : float, optional
        Go on to this frequency with the same L, without a fade at the end.

    Returns
    -------
    ndarray, shape (n,)
        Samples.

    Raises
    ------
    CurveError
        If the sweep reaches half the sampling rate.
    """
    if sweep.stop_hz >= rate / 2:
        raise CurveError(
            Problem(
                "sweep.stop_hz",
                f"{sweep.stop_hz:g} Hz",
                f"less than half the rate, {rate / 2:g} Hz",
                "Record at a higher rate, or play a sweep that ends lower.",
            )
        )
    length = time_constant(sweep)
    t = np.arange(_count(sweep, rate, stop_hz or sweep.stop_hz)) / rate
    phase = 2 * math.pi * sweep.start_hz * length * np.expm1(t / length)
    result: npt.NDArray[np.float64] = sweep.amplitude * np.sin(phase)
    _fade(result, round(sweep.fade_in * rate))
    if stop_hz is None:
        _fade(result[::-1], round(sweep.fade_out * rate))
    return result


def ended(samples: npt.NDArray[np.float64], sweep: Sweep, rate: float) -> npt.NDArray[np.float64]:
    """Return the sweep out of one that goes on to a higher frequency.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        From `generate` with a `stop_hz` over the sweep's own.
    sweep : Sweep
        Its settings.
    rate : float
        Sampling rate, Hz.

    Returns
    -------
    ndarray, shape (m,)
        As `generate` makes it.
    """
    result = samples[: _count(sweep, rate, sweep.stop_hz)].copy()
    _fade(result[::-1], round(sweep.fade_out * rate))
    return result


def _count(sweep: Sweep, rate: float, stop_hz: float) -> int:
    return round(time_constant(sweep) * math.log(stop_hz / sweep.start_hz) * rate)


def _fade(samples: npt.NDArray[np.float64], count: int) -> None:
    """Let the first samples rise from 0 as a raised cosine, in place."""
    samples[:count] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / max(count, 1))
