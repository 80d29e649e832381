"""The frequency response that an impulse response carries."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import next_fast_len, rfft, rfftfreq

from experiments.acoustics.bands import smooth
from experiments.acoustics.curves import Impulse, Response
from experiments.acoustics.decay import envelope, falls, without_offset
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["cut_off", "faded", "gate_length", "response_of_impulse", "settling"]

_LARGEST: Final = 1 << 22  # points of the transform
_SHORT: Final = 1 << 15
_LOWEST: Final = 1e-20  # of the largest magnitude (-400 dB): stands for zero
_LOUD_END: Final = 0.01  # of the peak: a record that ends over this ends too early
_SETTLED: Final = 1e-3  # of the peak
_NYQUIST_SHARE: Final = 0.95  # converters' filters cut off above


def gate_length(impulse: Impulse) -> float:
    """Return the length of what follows the peak, zeros at the end left out.

    Parameters
    ----------
    impulse : Impulse
        The record.

    Returns
    -------
    float
        T in s. Nothing below 1/T is carried.
    """
    size = np.abs(without_offset(impulse)[0])
    filled = np.flatnonzero(size > 0)
    if filled.size == 0:
        return 0.0
    return float(filled[-1] - int(np.argmax(size)) + 1) / impulse.rate


def settling(impulse: Impulse) -> float:
    """Return the time from the peak to the last sample over 0.1 % of it.

    Parameters
    ----------
    impulse : Impulse
        The record.

    Returns
    -------
    float
        s. Unlike `gate_length` it does not depend on how finely the samples are written.
    """
    size = np.abs(without_offset(impulse)[0])
    over = np.flatnonzero(size > _SETTLED * np.max(size))
    return float(over[-1] - int(np.argmax(size)) + 1 if over.size else size.size) / impulse.rate


def cut_off(impulse: Impulse) -> bool:
    """Tell whether a record ends while it still rings.

    Parameters
    ----------
    impulse : Impulse
        The record; zeros at its end are left out.

    Returns
    -------
    bool
        True if its last eighth exceeds 1 % of the peak and the envelope falls straight up to
        there, which noise does not.
    """
    h = _filled(without_offset(impulse)[0])
    size = np.abs(h)
    if h.size == 0:
        return False
    start = int(np.argmax(size))
    tail = size[start + 1 :][-max((size.size - start) // 8, 1) :]
    if tail.size == 0 or float(np.max(tail)) <= _LOUD_END * float(size[start]):
        return False
    return falls(envelope(h)[start:] / size[start])


def _filled(h: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Leave out the zeros at the end."""
    filled = np.flatnonzero(h)
    return h[: filled[-1] + 1] if filled.size else h[:0]


def response_of_impulse(impulse: Impulse) -> Response:
    """Transform an impulse response.

    Parameters
    ----------
    impulse : Impulse
        The record; a constant offset is taken off first.

    Returns
    -------
    Response
        Level in dB re 1 (unit gain), from 1/T to 95 % of half the sampling rate, `floor_hz` =
        1/T, and the noise as far as the end of the record shows it (a record that is cut off
        while it rings does not).

    Raises
    ------
    CurveError
        If the record is silent or too short to carry any frequency.
    """
    h, _ = without_offset(impulse)
    gate = gate_length(impulse)
    top = _NYQUIST_SHARE * impulse.rate / 2
    if gate * top < 4:
        raise CurveError(
            Problem("samples", "an impulse response of a few samples", "a longer record")
        )
    # Enough lines that straight segments between them follow the lobes of the transform.
    padding = 8 if h.size < _SHORT else 4
    length = next_fast_len(max(h.size, min(padding * h.size, _LARGEST)), real=True)
    f = rfftfreq(length, 1 / impulse.rate)
    size = np.abs(rfft(h, length))
    # The ends are put where the physics has them, not at the next line of the transform, so that
    # the length of the record does not show.
    ends = np.array([1 / gate, top])
    inside = (f > ends[0] * (1 + 1e-9)) & (f < ends[1] * (1 - 1e-9))
    at_ends = np.interp(ends, f, size)
    f = np.concatenate((ends[:1], f[inside], ends[1:]))
    size = np.concatenate((at_ends[:1], size[inside], at_ends[1:]))
    level = 20 * np.log10(np.maximum(size, _LOWEST * float(np.max(size))))
    return Response(
        f,
        level,
        floor_hz=1 / gate,
        noise_db=None if cut_off(impulse) else _noise(h, impulse.rate, f),
    )


def faded(impulse: Impulse) -> Impulse:
    """Let an impulse response fade from its peak to its end.

    The end of a record that still rings is a step, whose transform ripples at multiples of 1/T;
    a raised cosine over all that follows the peak leaves nothing of the ripple.

    Parameters
    ----------
    impulse : Impulse
        The record; a constant offset is taken off first.

    Returns
    -------
    Impulse
        Of the same length, without its quantisation step.
    """
    h, _ = without_offset(impulse)
    place = int(np.argmax(np.abs(h)))
    after = h.size - place
    samples = h.copy()
    samples[place:] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(after) / after)
    return Impulse(samples, impulse.rate, impulse.start)


def _noise(
    h: npt.NDArray[np.float64], rate: float, at: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64] | None:
    """Level that the noise of the last eighth would have in the whole record's spectrum."""
    filled = np.flatnonzero(h)
    end = int(filled[-1]) + 1
    tail = h[end - (end - int(np.argmax(np.abs(h)))) // 8 : end]
    if tail.size < 16:
        return None
    window = np.hanning(tail.size)
    power = np.abs(rfft(tail * window)) ** 2 / np.sum(window**2) * end
    f = rfftfreq(tail.size, 1 / rate)
    level = 10 * np.log10(np.maximum(power[1:], 1e-300))
    smooth_level = smooth(f[1:], level, 3)
    result: npt.NDArray[np.float64] = np.interp(np.log(at), np.log(f[1:]), smooth_level)
    return result
