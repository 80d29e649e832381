"""Samples that a recorder lost or repeated during a sweep.

After them every frequency arrives earlier or later than all before by one time. The frequencies
of an octave below a moment and of an octave above it then each add up to a sharp pulse, but the
two pulses stand apart. A driver delays frequencies gradually: its pulses stand together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import fft, irfft, next_fast_len, rfft, rfftfreq

from experiments.acoustics.clock import excess_phase
from experiments.acoustics.quality import Warning
from experiments.acoustics.stimulus import time_constant

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Sweep

__all__ = ["Lost", "lost_samples"]

_HALF: Final = 0.15  # s of impulse response at either side
_REACH: Final = 0.1  # s: the largest shift that is sought
_PER_OCTAVE: Final = 8  # moments that are tried first
_FINER: Final = 6  # times as close, around the best of them
_LEAST: Final = 12  # samples; 16 are to be found
_SHARPER: Final = 1.25  # times higher must the two pulses be together than in place
_PERIODS: Final = 1.6  # of the tone: steep crossovers shift by less
_NEAR: Final = 1 / 6  # octave about a shift in which a seam must show that it is abrupt
_ABRUPT: Final = 0.5  # of the shift must happen within a seam
_BROKEN: Final = 0.25  # a phase that is foretold no better is broken; rooms leave 0.4
_APART: Final = 1.1  # times higher must the pulses of a broken phase be than in place
_STRAIGHT: Final = 0.9
_WHOLE: Final = 0.85  # of what they could be at most: what is smeared is no jump
_ELSEWHERE: Final = 0.25  # of the shift at most must be seen elsewhere: a slow drift is no jump
_LOWEST: Final = 100.0  # periods of L from which an octave resolves a moment


@dataclass(frozen=True)
class Lost:
    """A jump in the recording.

    Parameters
    ----------
    seconds : float
        When, from the start of the recording.
    samples : int or None
        How many were lost; below 0, how many were repeated. None where it cannot be told.
    """

    seconds: float
    samples: int | None

    def warning(self) -> Warning:
        """Say it."""
        if self.samples is None:
            what = "samples (how many cannot be told) were lost or repeated"
        else:
            count = float(f"{abs(self.samples):.2g}")
            done = "lost" if self.samples > 0 else "repeated or put in"
            what = f"about {count:.0f} samples were {done}"
        return Warning(
            "drop_outs",
            f"{what} {self.seconds:.1f} s into the recording: what "
            "follows arrives apart from what came before. Deviation, limits, decay, break-up and "
            "distortion cannot be told; measure again.",
        )


def lost_samples(
    h: npt.NDArray[np.float64], arrival: int, sweep: Sweep, rate: float
) -> Lost | None:
    """Find the moment from which on everything arrives early or late.

    Parameters
    ----------
    h : ndarray, shape (n,)
        Impulse response, the clock's error undone.
    arrival : int
        Sample at which it peaks.
    sweep : Sweep
        The excitation.
    rate : float
        Sampling rate, Hz.

    Returns
    -------
    Lost or None
        A jump of 12 samples to 0.1 s; how many is told from about a period of the tone on. None
        is found below the frequency 100 / L, where an octave takes too few periods.
    """
    weights, step = _weights(h, arrival, sweep, rate)
    length = time_constant(sweep)
    low, high = max(1.5 * sweep.start_hz, _LOWEST / length), sweep.stop_hz / 1.06
    if low >= high:
        return None

    def moment(f: float) -> float:
        return arrival / rate + length * math.log(f / sweep.start_hz)

    shift, f = _shift(weights, step, (low, high), sweep, rate)
    seams = _seams(weights, step, (low, high), length)
    near = seams[np.abs(np.log2(seams[:, 0] / f)) < _NEAR] if shift else seams[:0]
    stepped = np.any(near[:, 2] * rate / shift >= _ABRUPT) if near.size else False
    broken = near[:, 1] < _BROKEN
    if shift and (abs(shift) * f >= _PERIODS * rate or stepped or np.any(broken)):
        return Lost(moment(f), -round(shift))
    for f in seams[seams[:, 1] < _BROKEN, 0]:
        together, apart, _ = _pulses(weights, step, f, sweep, rate)
        if apart >= max(_APART * together, _WHOLE):
            return Lost(moment(float(f)), None)
    return None


def _shift(
    weights: npt.NDArray[np.complex128],
    step: float,
    limits: tuple[float, float],
    sweep: Sweep,
    rate: float,
) -> tuple[float, float]:
    """Find by how many samples what lies above a frequency is late, and the frequency.

    Returns
    -------
    (float, float)
        0 where nothing is.
    """

    def pulses(tried: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.array([_pulses(weights, step, f, sweep, rate) for f in tried]).T

    low, high = limits
    coarse = np.geomspace(low, high, max(round(math.log2(high / low) * _PER_OCTAVE), 2))
    together, apart, shift = pulses(coarse)
    gain = np.where(np.abs(shift) >= _LEAST, apart / together, 0.0)
    best = int(np.argmax(gain))
    beyond = np.abs(np.log2(coarse / coarse[best])) > 1.1
    drift = float(np.median(np.abs(shift[beyond]))) if np.any(beyond) else 0.0
    if gain[best] < 1.0 or drift > _ELSEWHERE * abs(shift[best]):
        return 0.0, coarse[best]
    near = np.linspace(-1, 1, 2 * _FINER + 1) / _PER_OCTAVE
    fine = coarse[best] * 2.0**near
    fine = fine[(fine >= low) & (fine <= high)]
    together, apart, shift = pulses(fine)
    # What the sweep passed in the meantime is missing from both octaves.
    missing = np.abs(shift) / rate / time_constant(sweep) / math.log(4)
    fits = (apart >= _SHARPER * together) & (apart >= _WHOLE * (1 - missing))
    fits &= np.abs(shift) >= _LEAST
    if not np.any(fits):
        return 0.0, coarse[best]
    best = int(np.argmax(np.where(fits, apart, 0.0)))
    return float(np.median(shift[fits & (apart >= apart[best] - 0.02)])), fine[best]


def _seams(
    weights: npt.NDArray[np.complex128], step: float, limits: tuple[float, float], length: float
) -> npt.NDArray[np.float64]:
    """Compare the phase just below and just above each frequency, a straight line each.

    Returns
    -------
    ndarray, shape (n, 3)
        The frequency; how well the lower line foretells the upper phase (1 to -1, and 1 where
        neither is straight); by how many s the upper line is later.
    """
    phase = weights / np.maximum(np.abs(weights), 1e-300)
    rows = []
    count = max(round(math.log2(limits[1] / limits[0]) * 48), 2)
    for f in np.geomspace(limits[0] * 1.2, limits[1] / 1.06, count):
        half = round(max(0.12 * f, 4 * math.sqrt(f / length)) / step)
        place = round(f / step)
        if half < 4 or place < half or place + half > phase.size:
            continue
        low, high = phase[place - half : place], phase[place : place + half]
        (turn, straight), (other, also) = _line(low), _line(high)
        line = np.exp(2j * np.pi * turn * np.arange(-half, half))
        base = np.vdot(line[:half], low)
        foretold = float(
            np.real(np.vdot(line[half:], high) * np.conj(base)) / max(abs(base), 1e-9) / half
        )
        sure = min(straight, also) >= _STRAIGHT
        narrow = half * step <= 0.2 * f
        late = (turn - other) / step if sure and narrow else 0.0
        rows.append((f, foretold if sure else 1.0, late))
    return np.array(rows).reshape(-1, 3)


def _line(values: npt.NDArray[np.complex128]) -> tuple[float, float]:
    """Fit a straight line to a phase: turns a bin, and 1 where all of it lies on the line."""
    n = 8 * values.size
    size = np.abs(fft(values, n))
    place = int(np.argmax(size))
    before, here, after = size[place - 1], size[place], size[(place + 1) % n]
    curve = before - 2 * here + after
    turn = (place + (0.5 * (before - after) / curve if curve else 0.0)) / n
    return turn - round(turn), float(here) / values.size


def _weights(
    h: npt.NDArray[np.float64], arrival: int, sweep: Sweep, rate: float
) -> tuple[npt.NDArray[np.complex128], float]:
    """Give every octave equal weight, and keep only the phase that no driver has."""
    half = min(round(_HALF * rate), h.size // 2 - 1)
    n = 2 * next_fast_len(half, real=True)  # even
    part = np.zeros(n)
    cut = h[np.arange(arrival - half, arrival + half) % h.size]
    flank = 0.5 - 0.5 * np.cos(np.pi * (np.arange(half // 4) + 0.5) / (half // 4))
    cut[: flank.size] *= flank
    cut[-flank.size :] *= flank[::-1]
    part[:half], part[-half:] = cut[half:], cut[:half]
    f = rfftfreq(n, 1 / rate)
    inside = (f >= sweep.start_hz) & (f <= sweep.stop_hz)
    excess = excess_phase(rfft(part), inside, n)
    return excess / np.maximum(f, f[1]), float(f[1])


def _pulses(
    weights: npt.NDArray[np.complex128], step: float, f: float, sweep: Sweep, rate: float
) -> tuple[float, float, float]:
    """Height of the pulses of the octaves below and above `f`: in place, and each at its best.

    Returns
    -------
    (float, float, float)
        Both heights as shares of the most that is possible, and by how many samples the upper
        octave's pulse is late.
    """
    n = 2 * (weights.size - 1)
    edges = (max(f / 2, sweep.start_hz), f, min(2 * f, sweep.stop_hz))
    start, middle, stop = (round(edge / step) for edge in edges)
    most = float(np.sum(np.abs(weights[start:stop])))
    if most == 0.0:
        return 1.0, 0.0, 0.0
    reach = min(round(_REACH * rate), n // 2 - 1)
    places = np.arange(-reach, reach + 1)
    below, above = (
        irfft(_only(weights, part), n)[places] * (n / 2 / most)
        for part in (slice(start, middle), slice(middle, stop))
    )
    first = int(np.argmax(np.abs(below)))
    sign = np.sign(below[first])
    second = int(np.argmax(sign * above))
    apart = abs(below[first]) + sign * above[second]
    return float(np.max(np.abs(below + above))), float(apart), float(second - first)


def _only(weights: npt.NDArray[np.complex128], part: slice) -> npt.NDArray[np.complex128]:
    result = np.zeros_like(weights)
    result[part] = weights[part]
    return result
