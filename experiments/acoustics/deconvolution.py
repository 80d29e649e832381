"""Dividing the spectrum of a recording by that of its excitation."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

from experiments.acoustics.bands import G
from experiments.acoustics.stimulus import generate

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Sweep

__all__ = ["deconvolve", "fade_outside", "loopback_peak"]


def deconvolve(
    recording: npt.NDArray[np.float64],
    excitation: npt.NDArray[np.float64],
    rate: float,
    band: tuple[float, float],
) -> npt.NDArray[np.float64]:
    """Divide the spectrum of a recording by that of its excitation.

    Parameters
    ----------
    recording, excitation : ndarray, shape (n,), (m,)
        Samples.
    rate : float
        Sampling rate, Hz.
    band : (float, float)
        Hz; inside it the division is plain, outside it fades out within one octave below and
        1/6 octave above.

    Returns
    -------
    ndarray, shape (at least n + m,)
        Impulse response; what comes before time 0 stands at the end.
    """
    length = next_fast_len(recording.size + excitation.size, real=True)
    f = rfftfreq(length, 1 / rate)
    x = rfft(excitation, length)
    weight = fade_outside(f, band, below=1.0)
    power = np.abs(x) ** 2
    floor = _floor(f, power, band)
    inverse = np.conj(x) * weight / np.maximum(power, floor)
    result: npt.NDArray[np.float64] = irfft(rfft(recording, length) * inverse, length)
    return result


def _floor(
    f: npt.NDArray[np.float64], power: npt.NDArray[np.float64], band: tuple[float, float]
) -> npt.NDArray[np.float64]:
    """Least power to divide by: outside the band a tenth of what its edge has.

    A sweep with fades has next to nothing there, and the quotient would be noise.
    """
    floor = np.full(f.size, 1e-12 * float(np.max(power)))
    low, high = band
    for edge, outside in (
        ((low, low * G ** (1 / 6)), slice(0, np.searchsorted(f, low))),
        ((high / G ** (1 / 6), high), slice(np.searchsorted(f, high, side="right"), f.size)),
    ):
        inside = power[np.searchsorted(f, edge[0]) : np.searchsorted(f, edge[1], side="right")]
        if inside.size:
            floor[outside] = np.maximum(floor[outside], 0.1 * float(np.median(inside)))
    return floor


def fade_outside(
    f: npt.NDArray[np.float64], band: tuple[float, float], below: float = 1 / 6
) -> npt.NDArray[np.float64]:
    """1 inside the band, raised cosines over `below` and 1/6 octave outside it, 0 beyond.

    `f` ascends; most of it lies inside or far outside, so that cosines are worked out at the
    edges only.
    """
    low, high = band
    start, stop = np.searchsorted(f, low), np.searchsorted(f, high, side="right")
    result = np.zeros(f.size)
    result[start:stop] = 1.0
    for edge, octaves, part in (
        (low, below, slice(np.searchsorted(f, low / G**below), start)),
        (high, 1 / 6, slice(stop, np.searchsorted(f, high * G ** (1 / 6)))),
    ):
        away = np.abs(np.log(f[part] / edge)) / (octaves * math.log(G))
        result[part] = 0.5 + 0.5 * np.cos(np.pi * np.minimum(away, 1.0))
    return result


def loopback_peak(loopback: npt.NDArray[np.float64], sweep: Sweep, rate: float) -> float:
    """Return the peak of the sweep as the loopback channel carries it, from its spectrum."""
    x = generate(sweep, rate)
    length = next_fast_len(loopback.size + x.size, real=True)
    f = rfftfreq(length, 1 / rate)
    middle = (f > 2 * sweep.start_hz) & (f < sweep.stop_hz / 2)
    gains = np.abs(rfft(loopback, length)[middle]) / np.abs(rfft(x, length)[middle])
    return sweep.amplitude * float(np.median(gains)) if gains.size else sweep.amplitude
