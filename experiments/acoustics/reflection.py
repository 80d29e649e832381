"""The comb that one reflection draws into a response: found by its cepstrum, and taken out.

A copy of the sound, late by T and r times as loud, multiplies the response by
|1 + r exp(-2 pi i f T)|, which in decibels is

    20 / ln 10 * (r cos(w) - r² cos(2 w) / 2 + r³ cos(3 w) / 3 - ...),  w = 2 pi f T:

ripple at equal steps of 1/T on a linear scale of frequency. Its spectrum over linear frequency
(the cepstrum: Bogert, Healy and Tukey 1963, from memory) has a line at T, where resonances, whose
own part of it dies away with their decay, have none.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import rfft

from experiments.acoustics.bands import smooth
from experiments.acoustics.curves import Response

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["Cleared", "Reflection", "cleared", "find_reflection", "without_reflection"]

_LOW: Final = 200.0  # Hz: below, an octave holds too few ripples
_TOPS: Final = (16000.0, 8000.0, 4000.0, 2000.0, 1000.0)
_POINTS: Final = 1 << 13
_PADDED: Final = 1 << 15
_SOONEST: Final = 1e-3  # s: 0.34 m; sooner ones are the cone's own edge or the baffle's
_PERIODS: Final = 6  # ripples at least inside the range that is looked at
_PER_RIPPLE: Final = 3  # points
_LEAST: Final = 0.6  # dB of amplitude: less makes no peak of 3 dB
_CLEAR: Final = 7.0  # times the median around; the largest of 1000 random lines is 3.2 times
_ORDERS: Final = 4
_ALIKE: Final = math.pi / 4
_SHARE: Final = 0.35
_OF_RECORD: Final = 0.9
_MOST: Final = 3
_LEFT: Final = 0.25  # of the line that may be left after it was taken out


@dataclass(frozen=True)
class Reflection:
    """One reflection.

    Parameters
    ----------
    delay : float
        s after the direct sound.
    ripple_db : float
        From crest to trough.
    """

    delay: float
    ripple_db: float

    @property
    def step_hz(self) -> float:
        """Distance of neighbouring crests, Hz."""
        return 1 / self.delay


@dataclass(frozen=True)
class Cleared:
    """A response out of which reflections were taken.

    Parameters
    ----------
    response : Response or None
        None where they cannot be taken out.
    reflections : tuple of Reflection
        As found, the clearest first.
    """

    response: Response | None
    reflections: tuple[Reflection, ...]

    @property
    def ripple_db(self) -> float:
        """Largest ripple from crest to trough that was found."""
        return max((one.ripple_db for one in self.reflections), default=0.0)

    @property
    def soonest(self) -> float:
        """Delay of the first reflection, s; infinite if there is none."""
        return min((one.delay for one in self.reflections), default=math.inf)

    def resolved(self, frequency: float) -> bool:
        """Tell whether the grid shows every ripple around a frequency (Hz)."""
        latest = max((one.delay for one in self.reflections), default=0.0)
        return self.response is not None and latest <= _resolved(self.response, frequency)


@dataclass(frozen=True)
class _Even:
    """A stretch of a response on an even grid of frequency, its broad course taken off."""

    frequency: npt.NDArray[np.float64]
    ripple: npt.NDArray[np.float64]
    window: npt.NDArray[np.float64]


def find_reflection(response: Response) -> Reflection | None:
    """Find the reflection that ripples a response most clearly.

    Parameters
    ----------
    response : Response
        The curve, not smoothed.

    Returns
    -------
    Reflection or None
        None where no line of the cepstrum between 1 ms and what the grid resolves stands at
        least seven times over what is around it, with a ripple of 1.2 dB at least.
    """
    best: tuple[float, Reflection] | None = None
    for top in _TOPS:
        found = _line(response, top)
        if found is not None and (best is None or found[0] > best[0]):
            best = found
    return None if best is None else best[1]


def cleared(response: Response) -> Cleared:
    """Take reflections out of a response, the clearest first, as long as any is found.

    Parameters
    ----------
    response : Response
        The curve, not smoothed.

    Returns
    -------
    Cleared
        The curve itself where there is none; none where more than three are found, or one
        cannot be taken out.
    """
    left: Response | None = response
    found: list[Reflection] = []
    while left is not None and (one := find_reflection(left)) is not None:
        found.append(one)
        left = without_reflection(left, one) if len(found) <= _MOST else None
    return Cleared(left, tuple(found))


def without_reflection(response: Response, reflection: Reflection) -> Response | None:
    """Take the ripple of a reflection out of a response.

    Parameters
    ----------
    response : Response
        The curve.
    reflection : Reflection
        As found in it.

    Returns
    -------
    Response or None
        None where more than a quarter of the ripple's line would be left.

    Notes
    -----
    Cosines and sines of the first four orders, with amplitudes that may change in proportion to
    the logarithm of frequency, are fitted by least squares to the curve less its broad course.
    """
    f = response.frequency
    top = max((t for t in _TOPS if _resolved(response, t) >= reflection.delay), default=_TOPS[-1])
    even = _even(response, top)
    if even is None:
        return None
    before, delay = _sharpened(even, reflection.delay)
    weight = np.sqrt(even.window)
    rows = _basis(even.frequency, delay) * weight[:, None]
    parts = np.linalg.lstsq(rows, even.ripple * weight, rcond=None)[0]
    fitted = _basis(even.frequency, delay) @ parts
    left = _amplitude(_Even(even.frequency, even.ripple - fitted, even.window), delay)
    if left > _LEFT * before:
        return None
    return Response(
        f, response.level - _basis(f, delay) @ parts, None, response.floor_hz, response.noise_db
    )


def _line(response: Response, top: float) -> tuple[float, Reflection] | None:
    """Return the clearest line of the cepstrum up to a frequency, and how clear it is."""
    even = _even(response, top)
    if even is None:
        return None
    step = float(even.frequency[1] - even.frequency[0])
    width = float(even.frequency[-1] - even.frequency[0])
    size = np.abs(rfft(even.ripple * even.window, _PADDED)) * 2 / np.sum(even.window)
    delay = np.arange(size.size) / (_PADDED * step)
    soonest = max(_SOONEST, _PERIODS / width)
    latest = _resolved(response, top)
    if response.floor_hz > 0:
        # A cut record ripples by itself, in steps of one over its length.
        latest = min(latest, _OF_RECORD / response.floor_hz)
    inside = np.flatnonzero((delay >= soonest) & (delay <= latest))
    if inside.size < 8:
        return None
    place = int(inside[np.argmax(size[inside])])
    at = float(delay[place])
    near = (delay >= at / 1.6) & (delay <= 1.6 * at) & (np.abs(delay - at) > 4 / width)
    around = float(np.median(size[near])) if np.any(near) else math.inf
    amplitude, at = _sharpened(even, at)
    if amplitude < _LEAST or amplitude < _CLEAR * around or not _throughout(even, at):
        return None
    r = min(amplitude * math.log(10) / 20, 0.95)
    return amplitude / around, Reflection(at, 20 * math.log10((1 + r) / (1 - r)))


def _even(response: Response, top: float) -> _Even | None:
    """Put a response up to a frequency on an even grid, less its mean over an octave."""
    f = response.frequency
    low, high = max(_LOW, float(f[0])), min(top, float(f[-1]))
    if high < 2 * low or f.size < 64:
        return None
    at = np.linspace(low, high, _POINTS)
    level = np.interp(at, f, response.level)
    broad = np.geomspace(low, high, 200)
    course = np.interp(at, broad, smooth(f, response.level, 1.0, broad))
    window = np.hanning(_POINTS)
    return _Even(at, level - course, window)


def _resolved(response: Response, top: float) -> float:
    """Longest delay of which the grid still shows every ripple up to a frequency, s."""
    f = response.frequency
    place = min(int(np.searchsorted(f, min(top, float(f[-1])))), f.size - 1)
    return 1 / (_PER_RIPPLE * float(f[place] - f[place - 1]))


def _amplitude(even: _Even, delay: float) -> float:
    turn = np.exp(-2j * np.pi * even.frequency * delay)
    return float(2 * abs(np.sum(even.window * even.ripple * turn)) / np.sum(even.window))


def _throughout(even: _Even, delay: float) -> bool:
    """Tell whether both halves of the stretch ripple alike: neighbouring modes do in one only."""
    half = even.frequency.size // 2
    window = np.hanning(half)
    turn = np.exp(-2j * np.pi * even.frequency * delay) * even.ripple
    low, high = np.sum(window * turn[:half]), np.sum(window * turn[-half:])
    alike = abs(np.angle(low * np.conj(high))) < _ALIKE
    return bool(alike and _SHARE * max(abs(low), abs(high)) < min(abs(low), abs(high)))


def _sharpened(even: _Even, delay: float) -> tuple[float, float]:
    """Return the largest amplitude near a delay, and the delay where it is."""
    width = 1 / float(even.frequency[-1] - even.frequency[0])
    tried = delay + width * np.linspace(-0.5, 0.5, 21)
    sizes = [_amplitude(even, float(t)) for t in tried]
    best = int(np.argmax(sizes))
    return sizes[best], float(tried[best])


def _basis(f: npt.NDArray[np.float64], delay: float) -> npt.NDArray[np.float64]:
    """Cosines and sines of all orders, each also times the logarithm of frequency."""
    x = np.log(np.clip(f, _LOW, _TOPS[0]) / 1000.0)
    angle = 2 * np.pi * f * delay
    waves = [g(k * angle) for k in range(1, _ORDERS + 1) for g in (np.cos, np.sin)]
    return np.stack([w for wave in waves for w in (wave, wave * x)], axis=1)
