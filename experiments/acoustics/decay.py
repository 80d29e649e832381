"""How an impulse response dies away: the 5 % decay, and the Q of one mode.

The envelope is the magnitude of the analytic signal. For a causal mode that is not the textbook
exponential: an analytic signal has no sharp start, so at low Q the envelope reads longer than
ln(20) Q / (pi f0). At Q of 20 and more the difference is under 2 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy.fft import fft, ifft, next_fast_len
from scipy.signal import hilbert

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.curves import Impulse

__all__ = [
    "THRESHOLD",
    "Decay",
    "ModeDecay",
    "decay",
    "envelope",
    "falls",
    "gaussian_band",
    "mode_decay",
    "without_offset",
]

THRESHOLD: Final = 0.05
"""Share of the largest magnitude at which the decay ends (-26.02 dB)."""

_LONG: Final = 1 << 17
_MARGIN: Final = 0.5  # noise within 6.02 dB of the threshold makes the decay unreadable

Reason = Literal["", "silent", "noise_floor", "decay_not_finished"]


@dataclass(frozen=True)
class Decay:
    """The decay to 5 %.

    Parameters
    ----------
    seconds : float or None
        From the largest magnitude to the last instant at or over 5 % of it; None if the data
        do not carry it.
    reason : str
        Why not: the code of a warning; empty if `seconds` is given.
    noise_db : float
        Largest magnitude in the last tenth of the record over the 5 % line, dB (-inf: silence).
    offset : float
        Constant offset that was taken off, as a share of the largest magnitude.
    """

    seconds: float | None
    reason: Reason
    noise_db: float
    offset: float


@dataclass(frozen=True)
class ModeDecay:
    """One mode, from the decay of the band-passed impulse response.

    Parameters
    ----------
    frequency : float
        Hz, from the phase of the analytic signal.
    q : float
        pi f0 tau.
    range_db : float
        Range of level over which the decay was straight enough to be read, dB.
    rms_db : float
        Departure of the level from a straight line, dB.
    """

    frequency: float
    q: float
    range_db: float
    rms_db: float


def without_offset(impulse: Impulse) -> tuple[npt.NDArray[np.float64], float]:
    """Take off a constant offset, if the ends of the record show one.

    Parameters
    ----------
    impulse : Impulse
        The record.

    Returns
    -------
    ndarray, shape (n,)
        Samples without the offset.
    float
        The offset that was taken off.

    Notes
    -----
    The offset is the mean of the last tenth. It is believed only if that part is steadier than
    it is high, so that the slow end of a decay is not mistaken for one.
    """
    h = impulse.samples
    tail = h[-max(8, h.size // 10) :]
    offset, spread = float(np.mean(tail)), float(np.ptp(tail)) / 2
    if offset == 0.0 or spread > 0.5 * abs(offset) + _noise_allowance(tail):
        return h, 0.0
    return h - offset, offset


def _noise_allowance(tail: npt.NDArray[np.float64]) -> float:
    """How far noise alone may spread around an offset that its mean still shows clearly."""
    deviation = float(np.std(tail))
    error = deviation / math.sqrt(tail.size)
    # Noise is white where neighbouring samples differ as much as distant ones.
    steps = float(np.std(np.diff(tail)))
    white = deviation > 0 and steps > 0.9 * deviation
    return 6 * deviation if white and abs(float(np.mean(tail))) > 6 * error else 0.0


def envelope(samples: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return the magnitude of the analytic signal.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The signal; it is taken as zero outside, and padded so that the ends do not wrap round.

    Returns
    -------
    ndarray, shape (n,)
        The envelope.
    """
    n = samples.size
    # The transform is periodic: the longer the padding, the less one period hears of the next.
    length = next_fast_len(max(3 * n, _LONG), real=False)
    padded = np.zeros(length)
    padded[n : 2 * n] = samples
    result: npt.NDArray[np.float64] = np.abs(hilbert(padded)[n : 2 * n])
    return result


def decay(impulse: Impulse) -> Decay:
    """Measure the decay to 5 %.

    Parameters
    ----------
    impulse : Impulse
        The impulse response.

    Returns
    -------
    Decay
        The time, or the reason why there is none.
    """
    h, offset = without_offset(impulse)
    size = np.abs(h)
    peak = float(np.max(size))
    if peak == 0.0:
        return Decay(None, "silent", -math.inf, 0.0)
    start = int(np.argmax(size))
    level = envelope(h) / peak
    over = np.flatnonzero(level[start:] >= THRESHOLD)
    last = start + int(over[-1]) if over.size else start
    tail = size[max(start + 1, h.size - max(8, h.size // 10)) :] / peak
    loudest = float(np.max(tail)) if tail.size else 1.0
    noise_db = 20 * math.log10(loudest / THRESHOLD) if loudest > 0 else -math.inf
    if loudest >= _MARGIN * THRESHOLD or last >= h.size - 2:
        reason = _why_loud(level, start, last)
        if reason:
            return Decay(None, reason, noise_db, offset / peak)
    return Decay((_end(level, last) - start) / impulse.rate, "", noise_db, offset / peak)


def _end(level: npt.NDArray[np.float64], last: int) -> float:
    """Instant of the crossing after sample `last`, in samples, straight in dB."""
    if level[last + 1] <= 0:
        return float(last)
    return last + math.log(level[last] / THRESHOLD) / math.log(level[last] / level[last + 1])


def _why_loud(level: npt.NDArray[np.float64], start: int, last: int) -> Reason:
    """Say why the end of the record is within 6 dB of the line; empty if it still decays.

    A record that ends while a clean decay is between 5 % and 2.5 % carries the value: its
    level falls steadily from the crossing to the end.
    """
    rest = level[last + 1 :]
    if rest.size >= 8 and falls(rest) and rest[-1] < THRESHOLD:
        return ""
    return "decay_not_finished" if falls(level[start:]) else "noise_floor"


def falls(level: npt.NDArray[np.float64]) -> bool:
    """Tell whether a level falls in a straight line rather than staying where noise keeps it.

    Parameters
    ----------
    level : ndarray, shape (n,)
        Envelope re its largest value, linear.

    Returns
    -------
    bool
        True for a decay.
    """
    y = 20 * np.log10(np.maximum(level, 1e-12))
    t = np.linspace(-0.5, 0.5, y.size)
    slope = float(np.sum(t * y) / np.sum(t * t))
    misfit = float(np.std(y - np.mean(y) - slope * t))
    return slope < -1.0 and misfit < max(0.5, 0.15 * abs(slope))


def mode_decay(impulse: Impulse, frequency: float, q: float) -> ModeDecay | None:
    """Measure frequency and Q of one mode from its own decay.

    Parameters
    ----------
    impulse : Impulse
        The impulse response.
    frequency : float
        Where the mode is, Hz.
    q : float
        About how sharp it is; sets the width of the band-pass.

    Returns
    -------
    ModeDecay or None
        None if less than 12 dB of straight decay stand clear of the noise.

    Notes
    -----
    A Gaussian band-pass of standard width 1.5 f0 / Q rings for a third of the mode's time
    constant; convolved with it an exponential stays exponential once the Gaussian has passed,
    so the slope after four of its widths is the mode's own.
    """
    h, _ = without_offset(impulse)
    width = min(1.5 * frequency / q, 0.3 * frequency)
    analytic = _band_passed(h, impulse.rate, frequency, width)
    size = np.abs(analytic)
    start = int(np.argmax(np.abs(h))) + math.ceil(4 * impulse.rate / (2 * math.pi * width))
    stop = _above_noise(size, start)
    if stop - start < 8:
        return None
    y = 20 * np.log10(np.maximum(size[start:stop], 1e-300))
    t = np.arange(start, stop) / impulse.rate
    slope, level = np.polyfit(t - t[0], y, 1)
    turn = np.unwrap(np.angle(analytic[start:stop]))
    natural = float(np.polyfit(t - t[0], turn, 1)[0]) / (2 * math.pi)
    drop = float(-slope * (t[-1] - t[0]))
    if slope >= 0 or drop < 12.0 or natural <= 0:
        return None
    tau = 20 / math.log(10) / float(-slope)
    rms = float(np.std(y - level - slope * (t - t[0])))
    # The damped frequency is f0 sqrt(1 - 1/(4 Q²)).
    damped = math.pi * natural * tau
    return ModeDecay(
        natural * math.sqrt(1 + 1 / (4 * damped**2)), math.hypot(damped, 0.5), drop, rms
    )


def _band_passed(
    h: npt.NDArray[np.float64], rate: float, frequency: float, width: float
) -> npt.NDArray[np.complex128]:
    """Return the analytic signal behind a Gaussian band-pass."""
    ring = math.ceil(8 * rate / (2 * math.pi * width))
    length = next_fast_len(h.size + 2 * ring)
    f = np.asarray(np.fft.fftfreq(length, 1 / rate), dtype=np.float64)
    gain = gaussian_band(f, frequency, width)
    result: npt.NDArray[np.complex128] = ifft(fft(h, length) * gain)[: h.size]
    return result


def gaussian_band(
    f: npt.NDArray[np.float64], frequency: float, width: float
) -> npt.NDArray[np.float64]:
    """Return the gain of a Gaussian band-pass that leaves the analytic signal.

    Parameters
    ----------
    f : ndarray
        Frequencies of the transform, both signs, Hz.
    frequency, width : float
        Centre and standard deviation, Hz.

    Returns
    -------
    ndarray, shape of `f`
        2 at the centre, 0 for negative frequencies.
    """
    gain: npt.NDArray[np.float64] = np.where(
        f > 0, 2 * np.exp(-0.5 * ((f - frequency) / width) ** 2), 0.0
    )
    return gain


def _above_noise(size: npt.NDArray[np.float64], start: int) -> int:
    """First sample after `start` that is within 10 dB of the noise, or 40 dB below the start."""
    if start >= size.size:
        return start
    noise = float(np.max(size[-max(8, size.size // 10) :]))
    floor = max(noise * 10**0.5, float(size[start]) * 1e-2)
    under = np.flatnonzero(size[start:] < floor)
    return start + int(under[0]) if under.size else size.size
