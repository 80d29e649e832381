"""A noise from outside during a sweep: a door, a step, a voice.

While the sweep plays one tone and its harmonics, the octaves below the tone and far above it hold
the room's noise only. A short noise from outside stands over what these octaves hold just before
and just after.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import rfft

from experiments.acoustics.quality import Warning
from experiments.acoustics.stimulus import time_constant

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Sweep

__all__ = ["Burst", "find_burst"]

_BLOCK: Final = 0.04  # s
_SHORT: Final = 1.0  # s: what lasts longer is the room's noise
_OVER: Final = 12.0  # dB over the louder of before and after
_BANDS: Final = 2  # octaves at least that must show it
_BELOW: Final = 1.4  # the tone must be this far over an octave's upper edge
_ABOVE: Final = 12.0  # harmonics up to this order are passed over
_LOWEST: Final = 250.0  # Hz of the tone: a rattle at the resonance has higher harmonics yet
_SPOILS: Final = 0.005  # of the tone, once deconvolved: a single crackle spoils nothing
_FLOOR: Final = 1e-4  # of the recording's rms: fainter bursts spoil nothing (-80 dB)


@dataclass(frozen=True)
class Burst:
    """A noise from outside.

    Parameters
    ----------
    start, stop : float
        From the start of the recording, s.
    over_db : float
        By how much it stands over the noise around it.
    low_hz, high_hz : float
        What the sweep played meanwhile.
    """

    start: float
    stop: float
    over_db: float
    low_hz: float
    high_hz: float

    def warning(self) -> Warning:
        """Say it."""
        return Warning(
            "disturbance",
            f"a noise from outside {self.start:.1f} s into the recording, for "
            f"{self.stop - self.start:.2g} s, stands {self.over_db:.0f} dB over what is heard "
            f"before and after it, while the sweep passed {self.low_hz:.0f} to "
            f"{self.high_hz:.0f} Hz. Deviation, break-up and distortion cannot be told; measure "
            "again.",
        )


def find_burst(
    samples: npt.NDArray[np.float64], arrival: int, sweep: Sweep, rate: float
) -> Burst | None:
    """Find the loudest short noise during a sweep.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The recording.
    arrival : int
        Sample at which the sweep starts in it.
    sweep : Sweep
        The excitation.
    rate : float
        Sampling rate, Hz.

    Returns
    -------
    Burst or None
        What lasts under 1 s, stands 12 dB over before and over after in two octaves, and adds
        0.5 % to the tone or more. It is found from about 500 Hz on: below, too few octaves are
        free of the tone.
    """
    size = round(_BLOCK * rate)
    length = time_constant(sweep)
    skipped = max(arrival + round(length * math.log(_LOWEST / 2 / sweep.start_hz) * rate), 0)
    if samples.size - skipped < 4 * size:
        return None
    levels, edges, total = _octaves(samples[skipped:], size, rate)
    seconds = ((np.arange(levels.shape[0]) + 0.5) * size + skipped - arrival) / rate
    tone = sweep.start_hz * np.exp(np.clip(seconds / length, -1.0, 50.0))
    ends = length * math.log(sweep.stop_hz / sweep.start_hz)
    playing = (seconds > 0) & (seconds < ends)
    free = (edges[1:] * _BELOW < tone[:, np.newaxis]) | (edges[:-1] > _ABOVE * tone[:, np.newaxis])
    free &= (playing & (tone >= _LOWEST / 2))[:, np.newaxis]
    levels = np.where(free, levels, np.nan)
    width = max(round(min(2 * _SHORT, ends / 4) / _BLOCK), 3)
    over = levels - _around(levels, width)
    count = np.count_nonzero(over >= _OVER, axis=1)
    seen = (
        (tone >= _LOWEST)
        & (count >= _BANDS)
        & (2 * count >= np.count_nonzero(~np.isnan(over), axis=1))
    )
    if not np.any(seen):
        return None
    top = np.where(seen, np.max(np.where(np.isnan(over), -1e9, over), axis=1), -1e9)
    first = last = int(np.argmax(top))
    while first > 0 and seen[first - 1]:
        first -= 1
    while last + 1 < seen.size and seen[last + 1]:
        last += 1
    if (last - first + 1) * _BLOCK > _SHORT:
        return None
    density = levels[first : last + 1] - 10 * np.log10(np.diff(edges))
    loudest = np.max(density[~np.isnan(density)])
    around = np.median(total[max(first - 10, 0) : last + 11])
    share = 10 ** (loudest / 10) * (last - first + 1) / around
    # Energy a hertz against the sweep's, which passes a hertz in L / f.
    if math.sqrt(share * size / rate * tone[first] / length) < _SPOILS:
        return None
    start, stop = (skipped + first * size) / rate, (skipped + (last + 1) * size) / rate
    return Burst(start, stop, float(np.max(top)), float(tone[first]), float(tone[last]))


def _octaves(
    samples: npt.NDArray[np.float64], size: int, rate: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Level of each block in each octave from 63 Hz on, dB; the octaves' edges; all power."""
    count = samples.size // size
    window = np.hanning(size).astype(np.float32)
    blocks = samples[: count * size].astype(np.float32).reshape(count, size) * window
    spectrum = rfft(blocks, axis=1)
    power = spectrum.real**2 + spectrum.imag**2
    top = math.floor(math.log2(0.45 * rate / 1000))
    edges = np.asarray(1000 * 2.0 ** (np.arange(-4, top + 1) - 0.5), dtype=np.float64)
    places = np.round(edges * size / rate).astype(int)
    sums = np.add.reduceat(power, places, axis=1)[:, :-1]
    least = (_FLOOR**2) * float(np.mean(power)) * np.diff(places)
    levels = 10 * np.log10(np.maximum(sums, least).astype(np.float64) + 1e-300)
    return levels, edges, np.asarray(np.sum(power, axis=1), dtype=np.float64)


def _around(levels: npt.NDArray[np.float64], width: int) -> npt.NDArray[np.float64]:
    """Level before and after each block, the louder of both; NaN where one is not known.

    The lower quartile, so that a noise of most of the time does not hide itself.
    """
    count, bands = levels.shape
    result = np.full((count, bands), np.nan)
    for band in range(bands):
        known = np.flatnonzero(~np.isnan(levels[:, band]))
        for part in np.split(known, np.flatnonzero(np.diff(known) > 1) + 1):
            if part.size < 2 * (width // 2) + 1:
                continue
            values = levels[part, band]
            half = width // 2
            windows = np.lib.stride_tricks.sliding_window_view(values, half)
            quiet = np.quantile(windows, 0.25, axis=1)
            middle = slice(half, part.size - half)
            before, after = quiet[: part.size - 2 * half], quiet[half + 1 :]
            result[part[middle], band] = np.maximum(before, after)
    return result
