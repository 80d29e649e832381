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

__all__ = ["Spectrum", "deconvolve", "fade_outside", "loopback_peak"]


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
    return Spectrum(recording, rate, recording.size + excitation.size).divided(excitation, band)


class Spectrum:
    """A recording's spectrum, to be divided by that of several excitations.

    Parameters
    ----------
    recording : ndarray, shape (n,)
        Samples.
    rate : float
        Sampling rate, Hz.
    length : int
        Samples that an impulse response gets at least; what would stand beyond its end comes
        round to its start.
    """

    def __init__(self, recording: npt.NDArray[np.float64], rate: float, length: int) -> None:
        self.rate = rate
        self._length = next_fast_len(max(length, recording.size), real=True)
        self._values = rfft(recording, self._length)

    def divided(
        self, excitation: npt.NDArray[np.float64], band: tuple[float, float]
    ) -> npt.NDArray[np.float64]:
        """Give the impulse response; see `deconvolve`."""
        f = rfftfreq(self._length, 1 / self.rate)
        x = rfft(excitation, self._length)
        power = x.real**2 + x.imag**2
        weight = fade_outside(f, band, below=1.0)
        weight /= np.maximum(power, _floor(f, power, band))
        np.conjugate(x, out=x)
        x *= weight
        x *= self._values
        result: npt.NDArray[np.float64] = irfft(x, self._length, overwrite_x=True)
        return result

    def below(self, frequency: float) -> Spectrum:
        """Give the same at a lower rate, with nothing of what lies at `frequency` and above."""
        bins = int(frequency * self._length / self.rate) + 1
        low = Spectrum.__new__(Spectrum)
        low._length = 2 * (bins - 1)
        low.rate = self.rate * low._length / self._length
        low._values = self._values[:bins] * (low._length / self._length)
        return low


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
