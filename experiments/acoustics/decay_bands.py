"""Decay against frequency and time: how long each third of an octave of an impulse rings.

Each band is the analytic signal behind a Gaussian band-pass of constant relative width. The
Gaussian has no side lobes in either domain, so what lasts longer than its own envelope is in the
signal. One mode falls by 20 lg(e) pi f0 / Q decibels a second (second-order resonance, any
textbook of vibration).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import fft, fftfreq, ifft, next_fast_len

from experiments.acoustics.bands import G, octaves
from experiments.acoustics.decay import gaussian_band, without_offset
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.curves import Impulse

__all__ = ["BandDecay", "band_decay"]

_WIDTH: Final = 0.12  # standard width over frequency: half power over 0.28 octave
_PER_OCTAVE: Final = 12
_LONGEST: Final = 0.1  # s after the peak
_AHEAD: Final = 0.02  # s before it
_COLUMNS: Final = 240
_LOW, _HIGH = 300.0, 20000.0  # Hz, without a band
_LOWEST: Final = 1e-10  # stands for silence, -200 dB


@dataclass(frozen=True)
class BandDecay:
    """Level over frequency and time.

    Parameters
    ----------
    frequency : ndarray, shape (m,)
        Centres of the bands, Hz, twelve an octave.
    time : ndarray, shape (n,)
        Since the largest magnitude of the impulse response, s.
    level : ndarray, shape (m, n)
        Envelope of each band over its width, dB re the largest; a flat spectrum is level.
    own : ndarray, shape (m,)
        Time after which the band-pass itself has fallen by 40 dB, s: earlier than this the
        picture shows the analysis, not the cone.
    """

    frequency: npt.NDArray[np.float64]
    time: npt.NDArray[np.float64]
    level: npt.NDArray[np.float64]
    own: npt.NDArray[np.float64]


def band_decay(
    impulse: Impulse, band: tuple[float, float] | None = None, seconds: float | None = None
) -> BandDecay:
    """Follow the decay of an impulse response in bands of a third of an octave.

    Parameters
    ----------
    impulse : Impulse
        The impulse response; a constant offset is taken off.
    band : (float, float), optional
        Lowest and highest centre in Hz, by default 300 Hz to 20 kHz; cut to what the sampling
        rate and the length of the record carry.
    seconds : float, optional
        How long after the peak, by default up to 0.1 s.

    Returns
    -------
    BandDecay
        At most 240 instants.

    Raises
    ------
    CurveError
        If the record is silent, or carries less than an octave of the band.
    """
    h, _ = without_offset(impulse)
    rate, start = impulse.rate, int(np.argmax(np.abs(h)))
    if not np.any(h):
        raise CurveError(Problem("samples", "zeros only", "an impulse response"))
    first = max(0, start - round(_AHEAD * rate))
    after = min(_LONGEST if seconds is None else seconds, (h.size - start) / rate)
    centre = _centres(band or (_LOW, _HIGH), rate, after)
    # What follows the span is kept, so that its end is not a step.
    part = h[first : start + 2 * round(after * rate)]
    length = next_fast_len(part.size + math.ceil(rate * 4 / centre[0]))
    spectrum = fft(part, length)
    f = np.asarray(fftfreq(length, 1 / rate), dtype=np.float64)
    places = np.unique(np.linspace(0, max(round(after * rate) - 1, 1), _COLUMNS).round())
    at = places.astype(np.int64) + start - first
    rows = [
        np.abs(ifft(spectrum * gaussian_band(f, one, _WIDTH * one)))[at] / one for one in centre
    ]
    size = np.asarray(rows) / np.max(rows)
    level = 20 * np.log10(np.maximum(size, _LOWEST))
    own = math.sqrt(2 * math.log(100.0)) / (2 * math.pi * _WIDTH * centre)
    return BandDecay(centre, places / rate, level, own)


def _centres(band: tuple[float, float], rate: float, after: float) -> npt.NDArray[np.float64]:
    """Return the centres: a band must fit under half the rate and ring inside the record."""
    low, high = max(band[0], 4 / after), min(band[1], 0.5 * rate / (1 + 2 * _WIDTH))
    if high < low * G:
        raise CurveError(
            Problem(
                "samples",
                f"{1000 * after:.3g} ms after the peak at {rate:g} Hz",
                "an impulse response that carries an octave of the band",
                "Export a longer impulse response, or state a wider band.",
            )
        )
    count = int(octaves(low, high) * _PER_OCTAVE) + 1
    return np.asarray(low * G ** (np.arange(count) / _PER_OCTAVE), dtype=np.float64)
