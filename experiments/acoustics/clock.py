"""The recorder's clock against the player's.

Seen by a recorder whose clock runs faster by a share e, an exponential sweep is one with L (1 + e)
that starts at f1 / (1 + e): an exponential sweep again. Divided by the sweep as it was made, its
response is smeared: a frequency f arrives e L ln(f/f1) late, up to e T. The e that undoes the
smear best is searched for; the peak of the impulse response is then highest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Sweep

__all__ = [
    "CLEAR",
    "LARGEST",
    "Clock",
    "compare_clocks",
    "excess_phase",
    "smear_phase",
    "stretched",
]

LARGEST: Final = 500e-6
"""Larger differences are another sweep, not another clock."""

CLEAR: Final = 5e-4
"""Smear in s from which a difference is undone; a steep crossover at 3 kHz makes 0.46 ms."""

_SMEAR: Final = 0.012  # s over the whole sweep that are searched at least
_COARSE: Final = 4  # steps of the first search in one
_CERTAIN: Final = 1.3  # times higher must the peak become before a difference is believed
_FAINT: Final = 0.03  # of the largest magnitude: what is fainter says nothing (-30 dB)


def stretched(sweep: Sweep, error: float) -> Sweep:
    """Return the sweep as a recorder sees it whose clock runs faster by a share `error`."""
    scale = 1 + error
    return replace(
        sweep,
        start_hz=sweep.start_hz / scale,
        stop_hz=sweep.stop_hz / scale,
        seconds=sweep.seconds * scale,
        fade_in=sweep.fade_in * scale,
        fade_out=sweep.fade_out * scale,
    )


@dataclass(frozen=True)
class Clock:
    """The recorder's clock against the player's.

    Parameters
    ----------
    error : float
        Share by which the recorder's runs faster; 0 where no difference can be told.
    doubt : float
        Half-width of what the driver's own phase and the room leave open: two periods of the
        highest frequency that it carries, over the whole sweep.
    smear : float
        By how much low and high frequencies would arrive apart, s. Below `CLEAR` a crossover's
        phase can do as much.
    """

    error: float
    doubt: float
    smear: float


def compare_clocks(
    h: npt.NDArray[np.float64],
    arrival: int,
    length: float,
    band: tuple[float, float],
    rate: float,
) -> Clock:
    """Find by how much the recorder's clock runs faster than the player's.

    Parameters
    ----------
    h : ndarray, shape (n,)
        Recording divided by the sweep as it was made.
    arrival : int
        Sample at which `h` peaks.
    length : float
        L of the sweep, s.
    band : (float, float)
        Its first and last frequency, Hz.
    rate : float
        Sampling rate, Hz.

    Returns
    -------
    Clock
        The difference. It is searched beyond `LARGEST`, so that another sweep shows too.
    """
    seconds = length * math.log(band[1] / band[0])
    reach = max(1.2 * LARGEST, _SMEAR / seconds)
    half = round((2 * reach * seconds + 0.01) * rate)
    part = h[np.arange(arrival - half, arrival + half) % h.size]
    n = next_fast_len(part.size, real=True)
    f = rfftfreq(n, 1 / rate)
    excess = excess_phase(rfft(part, n), (f >= band[0]) & (f <= band[1]), n)
    doubt = 2 / (f[np.flatnonzero(excess)[-1]] * seconds)
    phase = smear_phase(f, length, band[0])
    step = 0.25 / (band[1] * seconds)
    steps = round(reach / step / _COARSE)
    coarse = np.asarray(_COARSE * step * np.arange(-steps, steps + 1), dtype=np.float64)
    heights = _heights(excess, phase, coarse, n)
    offsets = step * np.arange(-2 * _COARSE, 2 * _COARSE + 1)
    fine = np.asarray(coarse[np.argmax(heights)] + offsets, dtype=np.float64)
    finer = _heights(excess, phase, fine, n)
    error = float(fine[np.argmax(finer)])
    if np.max(finer) < _CERTAIN * heights[steps] or abs(error) < doubt:
        error = 0.0
    return Clock(error, float(doubt), abs(error) * seconds)


def smear_phase(
    f: npt.NDArray[np.float64], length: float, start_hz: float
) -> npt.NDArray[np.float64]:
    """Return the phase, in rad, that a clock faster by a share of 1 adds.

    Parameters
    ----------
    f : ndarray, shape (n,)
        Hz, from 0 on.
    length : float
        L of the sweep, s.
    start_hz : float
        Its first frequency.

    Returns
    -------
    ndarray, shape (n,)
        A frequency f is delayed by L ln(f / f1), the derivative of this phase.
    """
    result: npt.NDArray[np.float64] = (
        2 * np.pi * f * length * (np.log(np.maximum(f, f[1]) / start_hz) - 1)
    )
    return result


def _heights(
    excess: npt.NDArray[np.complex128],
    phase: npt.NDArray[np.float64],
    errors: npt.NDArray[np.float64],
    n: int,
) -> npt.NDArray[np.float64]:
    """Height of the impulse response's peak once each of some clock errors is undone."""
    turned = excess * np.exp(1j * errors[0] * phase)
    turn = np.exp(1j * (errors[1] - errors[0]) * phase)
    heights = np.empty(errors.size)
    for place in range(errors.size):
        heights[place] = np.max(np.abs(irfft(turned, n)))
        turned *= turn
    return heights


def excess_phase(
    spectrum: npt.NDArray[np.complex128], inside: npt.NDArray[np.bool_], n: int
) -> npt.NDArray[np.complex128]:
    """Keep the phase that a system of minimum phase with this magnitude would not have.

    Parameters
    ----------
    spectrum : ndarray, shape (n // 2 + 1,)
        Of an impulse response.
    inside : ndarray of bool, shape (n // 2 + 1,)
        Where it says something; 0 is given elsewhere, and where it is faint.
    n : int
        Samples of the impulse response.

    Returns
    -------
    ndarray, shape (n // 2 + 1,)
        Complex numbers of magnitude 1.

    Notes
    -----
    A driver's own phase delays frequencies too, and is nearly the minimum (common practice, no
    source). The minimum phase is the Hilbert transform of the logarithm of the magnitude, here
    by folding the cepstrum (Oppenheim & Schafer, from memory).
    """
    size = np.abs(spectrum)
    loud = inside & (size > _FAINT * float(np.max(size[inside])))
    at = np.flatnonzero(loud)
    log_size = np.interp(np.arange(size.size), at, np.log(size[at]))
    cepstrum = irfft(log_size, n)
    fold = np.zeros(n)
    fold[0] = 1.0
    fold[1 : (n + 1) // 2] = 2.0
    if n % 2 == 0:
        fold[n // 2] = 1.0
    minimum = np.exp(-1j * np.imag(rfft(cepstrum * fold, n)))
    flat = np.where(loud, spectrum / np.maximum(size, 1e-300), 0.0)
    result: npt.NDArray[np.complex128] = flat * minimum
    return result
