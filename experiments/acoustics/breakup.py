"""Break-up: which peak of a response is the lowest resonance above the piston range.

A maximum of a curve is not yet a resonance. The passband itself, the fundamental resonance, the
baffle, the room and the noise make maxima too. Each candidate is judged from low to high
frequencies by what a resonance must show: it stands out from its surroundings, at least one of
its flanks is steep, several points carry it, and the pole pair fitted around it has a Q.

References
----------
No standard defines break-up. The limits here are common practice, no source, unless said.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy.signal import find_peaks

from experiments.acoustics.bands import G, octaves, smooth
from experiments.acoustics.curves import Response
from experiments.acoustics.resonance import (
    Peak,
    PolePair,
    fit_pole_pair,
    fundamental_peak,
    octaves_of_bandwidth,
)

if TYPE_CHECKING:
    from collections.abc import Iterator

__all__ = ["LEAST_Q", "START_HZ", "BreakUp", "Candidate", "find_break_up", "search_curve"]

LEAST_Q: Final = 1.5
"""A hump whose pole pair is damped more than this is no resonance of a cone."""

START_HZ: Final = 300.0
"""Where the search starts without a band: ka = 1 of a cone 0.36 m across, wider than a printer's
bed, so that any printed cone still moves as a piston below (c = 343 m/s)."""

_REACH: Final = 2.0  # octaves to each side within which prominence counts
_FLANK: Final = 0.5  # octave: 3 dB down on one side from Q = 1.5 on (second-order band-pass)
_FALL: Final = 3.0  # dB
_CALM: Final = 24.0  # 1/N octave smoothing against ripple where the grid is finer
_POINTS: Final = 3  # points over half the prominence that make a peak more than an outlier
_PER_OCTAVE: Final = 12  # a coarser grid tells no resonance from an outlier
_HOPELESS: Final = 6  # points per octave under which not even a hump can be told
_NOISE_TIMES: Final = 8.0  # spread of some hundred noisy points, in standard deviations
_SHARP: Final = 6.0  # Q of a resonance that no baffle or room of ordinary damping makes
_OUTDONE: Final = 3.0  # dB of prominence by which a later resonance puts the first in doubt
_SURE: Final = 1.645  # standard deviations: 90 % interval of ln Q
_CLEAR_OF_NOISE: Final = 10.0  # dB

_TOO_NEAR: Final = 1.25  # octaves between the start of the data and a peak

_EITHER: Final = "may be a resonance or a mere hump"

Verdict = Literal["resonance", "hump", "fundamental", "noise", "coarse", "unclear"]


@dataclass(frozen=True)
class Candidate:
    """A peak with what was made of it.

    Parameters
    ----------
    peak : Peak
        Its prominence is counted within two octaves to each side.
    verdict : str
        resonance, hump, fundamental, noise, coarse or unclear.
    why : str
        The reason, in words that follow 'the peak at ... Hz'.
    fit : PolePair or None
        The pole pair, where one was fitted.
    """

    peak: Peak
    verdict: Verdict
    why: str = ""
    fit: PolePair | None = None


@dataclass(frozen=True)
class BreakUp:
    """The break-up resonance, or why there is none.

    Parameters
    ----------
    found : Candidate or None
        The lowest resonance.
    doubt : Candidate or None
        A lower peak of which nothing decides whether it is one; then `found` is None.
    passed : tuple of Candidate
        Lower peaks that are none.
    start_hz : float
        Where the search began.
    below : Peak or None
        The highest prominent peak below that, if nothing was found above.
    """

    found: Candidate | None
    doubt: Candidate | None
    passed: tuple[Candidate, ...]
    start_hz: float
    below: Peak | None = None


def search_curve(response: Response, fraction: float = _CALM) -> Response:
    """Smooth a response lightly where its grid is fine enough, so that ripple makes no peaks.

    Parameters
    ----------
    response : Response
        The curve.
    fraction : float
        N of 1/N octave.

    Returns
    -------
    Response
        At four points a window, on a grid that starts at the first frequency; the curve itself
        where its points lie further apart than the window.
    """
    f = response.frequency
    wide = octaves(float(f[0]), float(f[-1]))
    if f.size < 8 or float(np.median(np.diff(np.log(f)))) > math.log(G) / fraction:
        return response
    at = f[0] * G ** (np.arange(int(wide * 4 * fraction) + 1) / (4 * fraction))
    at = np.minimum(at, f[-1])
    return Response(at, smooth(f, response.level, fraction, at), floor_hz=response.floor_hz)


def find_break_up(
    response: Response,
    curve: Response,
    prominence_db: float = 3.0,
    band: tuple[float, float] | None = None,
) -> BreakUp:
    """Find the lowest resonance above the piston range.

    Parameters
    ----------
    response : Response
        The curve as measured, on which resonances are fitted.
    curve : Response
        The curve in which peaks are looked for (see `search_curve`).
    prominence_db : float
        Least prominence, dB.
    band : (float, float), optional
        Its low end is where the search starts; `START_HZ` if there is none.

    Returns
    -------
    BreakUp
        The resonance, and what was passed over on the way.
    """
    start = START_HZ if band is None else band[0]
    passed: list[Candidate] = []
    below = None
    for peak in _prominent(curve, prominence_db):
        if peak.frequency < start:
            below = peak
            continue
        judged = _judge(response, curve, peak)
        if judged.verdict == "resonance" and band is None:
            judged = _at_the_start(judged, curve)
        if judged.verdict == "resonance" and band is None:
            judged = _against(judged, response, curve, prominence_db)
        if judged.verdict == "resonance":
            return BreakUp(judged, None, tuple(passed), start)
        if judged.verdict in ("coarse", "unclear"):
            return BreakUp(None, judged, tuple(passed), start)
        passed.append(judged)
    return BreakUp(None, None, tuple(passed), start, below)


def _at_the_start(first: Candidate, curve: Response) -> Candidate:
    """Doubt a resonance under which the data begin so soon that it may be the fundamental one."""
    f = curve.frequency
    if octaves(float(f[0]), first.peak.frequency) >= _TOO_NEAR:
        return first
    start, next_to_it = np.interp(np.log(f[0] * G ** np.array([0, 1 / 6])), np.log(f), curve.level)
    if next_to_it - start < 1.0:  # 6 dB an octave
        return first
    why = (
        "may be the fundamental resonance: the curve falls away below it, and the data begin too "
        "near it to tell"
    )
    return Candidate(first.peak, "unclear", why, first.fit)


def _against(
    first: Candidate, response: Response, curve: Response, prominence_db: float
) -> Candidate:
    """Doubt a damped, low first resonance if a far sharper and higher one follows."""
    q = _q(first)
    if q >= _SHARP:
        return first
    for peak in _prominent(curve, max(prominence_db, first.peak.prominence + _OUTDONE)):
        if peak.frequency <= first.peak.frequency:
            continue
        other = _judge(response, curve, peak)
        if other.verdict == "resonance" and _q(other) >= 1.5 * max(q, LEAST_Q):
            damped = f"Q {q:.2g}" if q else "no Q can be told"
            why = (
                f"is low and broad (prominence {first.peak.prominence:.1f} dB, {damped}) beside "
                f"the one at {peak.frequency:.0f} Hz ({peak.prominence:.1f} dB, Q "
                f"{_q(other):.2g}), so it may belong to the baffle, the enclosure or the room"
            )
            return Candidate(first.peak, "unclear", why, first.fit)
    return first


def _q(candidate: Candidate) -> float:
    """Q as far as it is carried, else 0."""
    fit = candidate.fit
    return fit.q if fit is not None and fit.carried else 0.0


def _prominent(curve: Response, prominence_db: float) -> Iterator[Peak]:
    """Local maxima that stand out within two octaves to each side, lowest first."""
    x, y = np.log(curve.frequency) / math.log(G), curve.level
    for place in find_peaks(y, prominence=prominence_db)[0]:
        low, high = np.searchsorted(x, (x[place] - _REACH, x[place] + _REACH))
        left, right = y[low : place + 1], y[place:high]
        # As far as the curve stays below the peak: the definition of topographic prominence.
        higher = np.flatnonzero(left > y[place])
        left = left[higher[-1] + 1 :] if higher.size else left
        higher = np.flatnonzero(right > y[place])
        right = right[: higher[0]] if higher.size else right
        height = float(y[place] - max(np.min(left), np.min(right)))
        if height >= prominence_db:
            yield Peak(float(curve.frequency[place]), float(y[place]), height)


def _judge(response: Response, curve: Response, peak: Peak) -> Candidate:
    """Tell what a prominent peak is."""
    near = 1 + _between(response, peak.frequency * G**-0.5, peak.frequency * G**0.5)
    if near < _HOPELESS:
        return Candidate(peak, "coarse", _say_coarse(near, _PER_OCTAVE))
    if _in_noise(response, peak):
        return Candidate(peak, "noise", "does not stand clear of the noise")
    low, high = _falls(curve, peak, _FALL)
    if min(low, high) > _FLANK:
        return Candidate(peak, "hump", "falls too slowly to both sides for a resonance")
    width = sum(_falls(curve, peak, peak.prominence / 2))
    if near < _PER_OCTAVE or _support(response, peak, width) < _POINTS:
        return Candidate(peak, "coarse", _say_coarse(near, max(_PER_OCTAVE, _POINTS / width)))
    if fundamental_peak(curve, peak):
        return Candidate(
            peak, "fundamental", "is the fundamental resonance: the curve falls away below it"
        )
    return _by_poles(response, curve, peak, steep=max(low, high) <= _FLANK)


def _by_poles(response: Response, curve: Response, peak: Peak, *, steep: bool) -> Candidate:
    """Decide by the pole pair; where none is carried, by whether both flanks are steep."""
    fit = fit_pole_pair(response, peak, curve)
    if fit is not None and _step(response, peak) > 2 * octaves_of_bandwidth(fit.q):
        # Only the flanks were measured, and they tell the frequency, not the Q.
        fit = replace(fit, sd_log_q=math.inf)
        return Candidate(peak, "resonance" if steep else "unclear", _EITHER, fit)
    if fit is not None and fit.described:
        margin = math.exp(min(_SURE * fit.sd_log_q, 700.0))  # beyond, it overflows
        if fit.q / margin >= LEAST_Q or (fit.carried and fit.q >= LEAST_Q):
            return Candidate(peak, "resonance", "", fit)
        if fit.q * margin < LEAST_Q or fit.carried:
            return Candidate(peak, "hump", f"is a hump with a Q of only {fit.q:.2g}", fit)
    if steep:
        return Candidate(peak, "resonance", "", fit)
    return Candidate(peak, "unclear", _EITHER, fit)


def _step(response: Response, peak: Peak) -> float:
    """Width in octaves of the gaps between points at a peak, the wider one beside it."""
    x = np.log(response.frequency) / math.log(G)
    place = int(np.argmin(np.abs(response.frequency - peak.frequency)))
    return float(np.max(np.diff(x[max(place - 1, 0) : place + 2])))


def _between(response: Response, low: float, high: float) -> int:
    """Count the points between two frequencies."""
    return int(np.diff(np.searchsorted(response.frequency, (low, high)))[0])


def _say_coarse(found: int, needed: float) -> str:
    return (
        f"rests on too few points: {found} in the octave around it, at least "
        f"{math.ceil(needed)} an octave are needed to tell a resonance"
    )


def _falls(curve: Response, peak: Peak, fall_db: float) -> tuple[float, float]:
    """Octaves below and above the peak at which the curve has fallen by so much; inf if never."""
    x, y = np.log(curve.frequency) / math.log(G), curve.level
    place = int(np.argmin(np.abs(curve.frequency - peak.frequency)))
    line = y[place] - fall_db
    widths = []
    for way, at in ((y[place::-1], x[place::-1]), (y[place:], x[place:])):
        under = np.flatnonzero(way <= line)
        if under.size == 0:
            widths.append(math.inf)
            continue
        i = int(under[0])
        share = (way[i - 1] - line) / (way[i - 1] - way[i])
        widths.append(float(abs(at[i - 1] + share * (at[i] - at[i - 1]) - at[0])))
    return widths[0], widths[1]


def _support(response: Response, peak: Peak, width: float) -> int:
    """Count the measured points over half the peak's prominence, within its width."""
    reach = G**width
    f = response.frequency
    near = (f >= peak.frequency / reach) & (f <= peak.frequency * reach)
    return int(np.count_nonzero(response.level[near] >= peak.level - peak.prominence / 2))


def _in_noise(response: Response, peak: Peak) -> bool:
    """Whether noise alone could make the peak: by the measured noise, or by the ripple."""
    if response.noise_db is not None:
        return _over_noise(response, peak) < _CLEAR_OF_NOISE or (
            peak.prominence < _noise_ripple(response, peak.frequency)
        )
    return peak.prominence < _NOISE_TIMES * _ripple(response, peak.frequency)


def _over_noise(response: Response, peak: Peak) -> float:
    """Return by how many dB the response stands over the measured noise at a peak."""
    assert response.noise_db is not None
    x, at = np.log(response.frequency), math.log(peak.frequency)
    return float(np.interp(at, x, response.level) - np.interp(at, x, response.noise_db))


def _noise_ripple(response: Response, frequency: float) -> float:
    """Return the ripple from crest to trough that the measured noise may make around a frequency.

    Noise of a relative amplitude a moves the magnitude between 1 - a and 1 + a; a is taken as
    three standard deviations of its part in phase, averaged over the lines of the window.
    """
    assert response.noise_db is not None
    f = response.frequency
    low, high = np.searchsorted(f, (frequency * G**-0.5, frequency * G**0.5))
    margin = float(np.median(response.level[low:high] - response.noise_db[low:high]))
    lines = 1.0
    if response.floor_hz > 0:
        lines = max(frequency * math.log(G) / _CALM / response.floor_hz, 1.0)
    a = 3 / math.sqrt(2) * 10 ** (-margin / 20) / math.sqrt(lines)
    return 20 * math.log10((1 + a) / (1 - a)) if a < 1 else math.inf


def _ripple(response: Response, frequency: float) -> float:
    """Return the standard deviation of the noise that 1/24 octave smoothing leaves, dB.

    From the second differences, which a smooth curve has hardly any of; their median, so that
    the peak itself does not count.
    """
    f = response.frequency
    low, high = np.searchsorted(f, (frequency / G, frequency * G))
    y = response.level[low:high]
    if y.size < 8:
        return 0.0
    bends = np.abs(y[1:-1] - (y[:-2] + y[2:]) / 2)
    # White noise of deviation s bends by s sqrt(3/2); the median of |N(0, 1)| is 0.6745.
    deviation = float(np.median(bends)) / (0.6745 * math.sqrt(1.5))
    per_window = y.size / octaves(float(f[low]), float(f[high - 1])) / _CALM
    return deviation / math.sqrt(max(per_window, 1.0))
