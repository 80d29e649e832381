"""Sweep recordings: making the sweep, deconvolving it, parting the harmonics.

An exponential sweep x(t) = sin(2 pi f1 L (e^(t/L) - 1)) reaches k times a frequency L ln k later,
whatever the frequency. After deconvolution the response of the k-th harmonic therefore stands
L ln k ahead of the linear one and can be cut out.

References
----------
A. Farina, Simultaneous measurement of impulse response and distortion with a swept-sine
technique, AES 108, 2000. A. Novak, P. Lotton, L. Simon, Synchronized swept-sine: theory,
application and implementation, J. Audio Eng. Soc. 63, 2015. (From memory.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

from experiments.acoustics.bands import G
from experiments.acoustics.clock import LARGEST, Clock, compare_clocks, stretched
from experiments.acoustics.curves import Distortion, Impulse, Response
from experiments.acoustics.distortion import total_harmonic
from experiments.acoustics.quality import Warning
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Sweep

__all__ = [
    "ORDERS",
    "SweepResult",
    "analyse",
    "deconvolve",
    "generate",
    "lead",
    "loopback_peak",
    "time_constant",
]

ORDERS: Final = (2, 3, 4, 5)
"""Harmonics that are parted."""

_PER_OCTAVE: Final = 24  # points of the distortion curve
_TAIL: Final = 0.5  # s of impulse response kept
_EARLY: Final = 0.005  # s by which the response may lead the sweep before it counts as cut off
_DRIFT: Final = 0.01  # s over the whole sweep: the change of L that is tried
_MARGIN: Final = 2.0  # harmonics must stand this far over the noise (6 dB)


@dataclass(frozen=True)
class SweepResult:
    """What a sweep recording holds.

    Parameters
    ----------
    impulse : Impulse
        Linear impulse response; time 0 is the start of the sweep in the recording.
    response : Response
        Of the linear part, dB re a gain of 1, between the ends of the sweep.
    distortion : Distortion
        Harmonics 2 to 5 over the fundamental's frequency, with the noise.
    latency : float
        From the start of the recording to the arrival of the response, s.
    law : str
        exponential or synchronised.
    warnings : list of Warning
        What the recording gave cause for.
    stimulus : float
        Peak of the stimulus that the response relates to: in its own file, or on the loopback
        channel.
    """

    impulse: Impulse
    response: Response
    distortion: Distortion
    latency: float
    law: str
    warnings: list[Warning]
    stimulus: float


def time_constant(sweep: Sweep) -> float:
    """Return L in s.

    Parameters
    ----------
    sweep : Sweep
        The excitation; without a law it is taken as exponential.

    Returns
    -------
    float
        T / ln(f2/f1) (Farina), rounded to a whole number of periods of f1 for a synchronised
        sweep (Novak).

    Raises
    ------
    CurveError
        If a synchronised sweep is shorter than half a period's worth.
    """
    plain = sweep.seconds / math.log(sweep.stop_hz / sweep.start_hz)
    if sweep.law != "synchronised":
        return plain
    periods = round(sweep.start_hz * plain)
    if periods < 1:
        raise CurveError(
            Problem("sweep.seconds", f"{sweep.seconds:g} s", "a longer synchronised sweep")
        )
    return periods / sweep.start_hz


def lead(sweep: Sweep, order: int) -> float:
    """Return by how many seconds harmonic `order` leads the linear response: L ln k."""
    return time_constant(sweep) * math.log(order)


def generate(sweep: Sweep, rate: float, stop_hz: float | None = None) -> npt.NDArray[np.float64]:
    """Make the sweep.

    Parameters
    ----------
    sweep : Sweep
        Its settings.
    rate : float
        Sampling rate, Hz.
    stop_hz : float, optional
        Go on to this frequency with the same L, without a fade at the end.

    Returns
    -------
    ndarray, shape (n,)
        Samples.

    Raises
    ------
    CurveError
        If the sweep reaches half the sampling rate.
    """
    if sweep.stop_hz >= rate / 2:
        raise CurveError(
            Problem(
                "sweep.stop_hz",
                f"{sweep.stop_hz:g} Hz",
                f"less than half the rate, {rate / 2:g} Hz",
            )
        )
    length = time_constant(sweep)
    seconds = length * math.log((stop_hz or sweep.stop_hz) / sweep.start_hz)
    t = np.arange(round(seconds * rate)) / rate
    phase = 2 * math.pi * sweep.start_hz * length * np.expm1(t / length)
    result: npt.NDArray[np.float64] = sweep.amplitude * np.sin(phase)
    _fade(result, round(sweep.fade_in * rate))
    if stop_hz is None:
        _fade(result[::-1], round(sweep.fade_out * rate))
    return result


def _fade(samples: npt.NDArray[np.float64], count: int) -> None:
    """Let the first samples rise from 0 as a raised cosine, in place."""
    samples[:count] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(count) + 0.5) / max(count, 1))


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
    weight = _fade_outside(f, band, below=1.0)
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
        ((low, low * G ** (1 / 6)), f < low),
        ((high / G ** (1 / 6), high), f > high),
    ):
        inside = power[(f >= edge[0]) & (f <= edge[1])]
        if inside.size:
            floor[outside] = np.maximum(floor[outside], 0.1 * float(np.median(inside)))
    return floor


def _fade_outside(
    f: npt.NDArray[np.float64], band: tuple[float, float], below: float = 1 / 6
) -> npt.NDArray[np.float64]:
    """1 inside the band, raised cosines over `below` and 1/6 octave outside it, 0 beyond."""
    x = np.log(np.maximum(f, 1e-9)) / math.log(G)
    low, high = (math.log(edge) / math.log(G) for edge in band)
    outside = np.clip(np.maximum((low - x) / below, (x - high) * 6), 0.0, 1.0)
    result: npt.NDArray[np.float64] = 0.5 + 0.5 * np.cos(np.pi * outside)
    return result


def analyse(
    recording: Impulse, sweep: Sweep, loopback: npt.NDArray[np.float64] | None = None
) -> SweepResult:
    """Turn a sweep recording into response, impulse response and distortion.

    Parameters
    ----------
    recording : Impulse
        The recording, as samples with a rate.
    sweep : Sweep
        The excitation. Without a law both are tried and the more compact result is kept.
    loopback : ndarray, optional
        The stimulus as recorded beside it; then levels are relative to it.

    Returns
    -------
    SweepResult
        The three curves.

    Raises
    ------
    CurveError
        If the recording is shorter than the sweep, starts late, ends early, or holds another
        sweep than stated.
    """
    y, rate = recording.samples - np.mean(recording.samples), recording.rate
    if not np.any(y):
        raise CurveError(Problem("recording", "silence", "a sweep", "Check the wiring."))
    sweep, h = _fitting_law(y, sweep, rate, loopback)
    needed = round(time_constant(sweep) * math.log(sweep.stop_hz / sweep.start_hz) * rate) - 1
    if y.size < needed:
        raise CurveError(
            Problem(
                "recording",
                f"{y.size / rate:.3g} s ({y.size} samples)",
                f"at least the sweep's {sweep.seconds:g} s ({needed} samples)",
                "Record until the sweep has ended, or correct --sweep.",
            )
        )
    arrival = _arrival(h, sweep, rate, y.size)
    warnings = _short_warnings(sweep)
    if loopback is None:
        band = (sweep.start_hz, sweep.stop_hz)
        clock = compare_clocks(h, arrival, time_constant(sweep), band, rate)
        if 0 < abs(clock.error) <= LARGEST:
            warnings.append(_clock_warning(clock, sweep))
            sweep = stretched(sweep, clock.error)
            h = deconvolve(y, generate(sweep, rate), rate, band)
            arrival = _arrival(h, sweep, rate, y.size)
    warnings += _check_arrivals(h, arrival, sweep, rate)
    if loopback is None:
        _refuse_other_rate(y, h, sweep, rate, clock)
    impulse = _linear(h, arrival, sweep, recording)
    response = _response(impulse, h, arrival, sweep)
    distortion = _distortion(y, arrival, sweep, rate, loopback)
    warnings += _noise_warnings(distortion)
    return SweepResult(
        impulse, response, distortion, arrival / rate, str(sweep.law), warnings,
        sweep.amplitude if loopback is None else loopback_peak(loopback, sweep, rate),
    )  # fmt: skip


def loopback_peak(loopback: npt.NDArray[np.float64], sweep: Sweep, rate: float) -> float:
    """Return the peak of the sweep as the loopback channel carries it, from its spectrum."""
    x = generate(sweep, rate)
    length = next_fast_len(loopback.size + x.size, real=True)
    f = rfftfreq(length, 1 / rate)
    middle = (f > 2 * sweep.start_hz) & (f < sweep.stop_hz / 2)
    gains = np.abs(rfft(loopback, length)[middle]) / np.abs(rfft(x, length)[middle])
    return sweep.amplitude * float(np.median(gains)) if gains.size else sweep.amplitude


def _fitting_law(
    y: npt.NDArray[np.float64],
    sweep: Sweep,
    rate: float,
    loopback: npt.NDArray[np.float64] | None,
) -> tuple[Sweep, npt.NDArray[np.float64]]:
    """Deconvolve under each possible law; the sharper impulse response is the right one."""
    laws = [sweep]
    if sweep.law is None:
        laws = [replace(sweep, law="exponential"), replace(sweep, law="synchronised")]
        if sweep.start_hz * sweep.seconds / math.log(sweep.stop_hz / sweep.start_hz) < 0.5:
            laws.pop()
    band = (sweep.start_hz, sweep.stop_hz)
    tried = []
    for candidate in laws:
        x = generate(candidate, rate) if loopback is None else loopback
        h = deconvolve(y, x, rate, band)
        tried.append((float(np.max(np.abs(h))), candidate, h))
        if loopback is not None:
            break
    _, best, h = max(tried, key=lambda item: item[0])
    return best, h


def _arrival(h: npt.NDArray[np.float64], sweep: Sweep, rate: float, recorded: int) -> int:
    """Return the sample at which the linear response peaks; refuse what was cut off."""
    place = int(np.argmax(np.abs(h)))
    place = place - h.size if place > recorded else place
    if place < -_EARLY * rate:
        raise CurveError(
            Problem(
                "recording",
                f"a response that starts {-place / rate:.3g} s before the recording",
                "the sweep from its start",
                "Start recording before the sweep is played.",
            )
        )
    seconds = time_constant(sweep) * math.log(sweep.stop_hz / sweep.start_hz)
    missing = place / rate + seconds - recorded / rate
    if missing > _EARLY:
        raise CurveError(
            Problem(
                "recording",
                f"an end {missing:.3g} s before the end of the sweep",
                "the sweep to its end",
                "Record until the sweep has ended.",
            )
        )
    return place


def _check_arrivals(
    h: npt.NDArray[np.float64], arrival: int, sweep: Sweep, rate: float
) -> list[Warning]:
    """Refuse a sweep of other settings: low and high frequencies then arrive apart.

    Where only the first or last octaves do, all by the same time, samples were lost between.
    """
    reach = round(min(max(sweep.seconds / 2, 0.2), 2.0) * rate)
    part = np.roll(h, reach - arrival)[: 2 * reach]
    f = rfftfreq(part.size, 1 / rate)
    spectrum = rfft(part)
    octave_count = math.log(sweep.stop_hz / sweep.start_hz) / math.log(G)
    times, centres, energies = [], [], []
    for step in range(max(int(octave_count), 1)):
        low = sweep.start_hz * G**step
        in_band = irfft(spectrum * _fade_outside(f, (low * G**0.2, low * G**0.8)), part.size)
        power = in_band**2
        times.append(float(np.argmax(power)) / rate - reach / rate)
        energies.append(float(np.max(power)))
        centres.append(low * G**0.5)
    loud = np.asarray(energies) > 1e-4 * max(energies)
    allowed = 0.004 + 6.0 / np.asarray(centres)
    late = (np.abs(np.asarray(times)) > allowed)[loud]
    if np.count_nonzero(late) > 0.3 * late.size:
        worst = float(np.asarray(times)[loud][np.argmax(np.abs(np.asarray(times))[loud])])
        raise CurveError(
            Problem(
                "recording",
                f"low and high frequencies that arrive {abs(worst):.2g} s apart",
                f"the sweep {sweep.start_hz:g}:{sweep.stop_hz:g}:{sweep.seconds:g}",
                "State the settings of the sweep that was played, or measure with less noise.",
            )
        )
    return _lost_samples(np.asarray(times)[loud], allowed[loud], np.asarray(centres)[loud])


def _lost_samples(
    times: npt.NDArray[np.float64],
    allowed: npt.NDArray[np.float64],
    centres: npt.NDArray[np.float64],
) -> list[Warning]:
    """Tell lost samples: all octaves beyond them, low ones apart, are off by one time."""
    late = np.abs(times) > allowed
    if not np.any(late):
        return []
    shift = float(np.median(times[late]))
    seen = allowed < abs(shift)
    late, centres = late[seen], centres[seen]
    if np.count_nonzero(np.diff(late)) != 1 or np.ptp(times[seen][late]) > 0.001:
        return []
    place = int(np.flatnonzero(np.diff(late))[0])
    text = (
        f"frequencies above about {math.sqrt(centres[place] * centres[place + 1]):.3g} Hz arrive "
        f"{1000 * abs(shift):.1f} ms apart from those below: samples were lost "
        "during the sweep; measure again."
    )
    return [Warning("drop_outs", text)]


def _clock_warning(clock: Clock, sweep: Sweep) -> Warning:
    faster = "fast" if clock.error > 0 else "slow"
    text = (
        f"the recorder's clock runs {1e6 * abs(clock.error):.0f} ppm {faster} against the "
        f"player's, known to about {1e6 * clock.doubt:.0f} ppm; the sweep was stretched to match, "
        f"and the decay is uncertain by about {1000 * clock.doubt * sweep.seconds:.1g} ms. Play "
        "and record with one device, or record the stimulus beside the response."
    )
    return Warning("clock_differs", text)


def _refuse_other_rate(
    y: npt.NDArray[np.float64],
    h: npt.NDArray[np.float64],
    sweep: Sweep,
    rate: float,
    clock: Clock,
) -> None:
    """Refuse a sweep of nearly the stated settings: a slightly other L then fits better."""
    octaves = math.log(sweep.stop_hz / sweep.start_hz)
    length = time_constant(sweep)
    step = _DRIFT / (length * octaves)
    better = clock.error if abs(clock.error) > LARGEST else 0.0
    peak = float(np.max(np.abs(h)))
    for share in () if better else (step, -step):
        other = replace(sweep, law="exponential", seconds=length * (1 + share) * octaves)
        tried = deconvolve(y, generate(other, rate), rate, (sweep.start_hz, sweep.stop_hz))
        if float(np.max(np.abs(tried))) > 1.1 * peak:
            better = share
    if better:
        raise CurveError(
            Problem(
                "recording",
                f"a sweep that rises slightly {'slower' if better > 0 else 'faster'} than stated",
                f"the sweep {sweep.start_hz:g}:{sweep.stop_hz:g}:{sweep.seconds:g}",
                "State the settings of the sweep that was played.",
            )
        )


def _cut(
    h: npt.NDArray[np.float64], centre: float, before: float, after: float
) -> npt.NDArray[np.float64]:
    """Cut out a stretch around a place in samples, with raised-cosine flanks inside it."""
    n_before, n_after = max(round(before), 2), max(round(after), 4)
    index = np.arange(round(centre) - n_before, round(centre) + n_after) % h.size
    part = h[index].copy()
    rise, fall = n_before, max(n_after // 4, 2)
    part[:rise] *= 0.5 - 0.5 * np.cos(np.pi * (np.arange(rise) + 0.5) / rise)
    part[-fall:] *= 0.5 + 0.5 * np.cos(np.pi * (np.arange(fall) + 0.5) / fall)
    return part


def _linear(h: npt.NDArray[np.float64], arrival: int, sweep: Sweep, recording: Impulse) -> Impulse:
    """Cut out the linear impulse response."""
    rate = recording.rate
    before = min(10 / sweep.start_hz, 0.4 * lead(sweep, 2)) * rate
    after = min(_TAIL * rate, h.size / 2 - before)
    samples = _cut(h, arrival, before, after)
    start = (arrival - max(round(before), 2)) / rate
    return Impulse(samples, rate, start, None)


def _response(
    impulse: Impulse, h: npt.NDArray[np.float64], arrival: int, sweep: Sweep
) -> Response:
    """Transform the linear impulse response, and say how high the noise stands in it."""
    rate = impulse.rate
    n = max(4 * impulse.samples.size, round(8 * rate / sweep.start_hz))
    n = next_fast_len(n, real=True)
    f = rfftfreq(n, 1 / rate)
    use = (f >= sweep.start_hz) & (f <= sweep.stop_hz)
    f, size = f[use], np.abs(rfft(impulse.samples, n))[use]
    lowest = 1e-20 * float(np.max(size))
    level = 20 * np.log10(np.maximum(size, lowest))
    at = np.geomspace(f[0], f[-1], 200)
    noise = _quiet(h, arrival, sweep, rate, impulse.samples.size, at)
    noise_db = np.interp(np.log(f), np.log(at), 20 * np.log10(np.maximum(noise, lowest)))
    return Response(f, level, noise_db=noise_db)


def _distortion(
    y: npt.NDArray[np.float64],
    arrival: int,
    sweep: Sweep,
    rate: float,
    loopback: npt.NDArray[np.float64] | None,
) -> Distortion:
    """Cut out each harmonic and relate it to the fundamental.

    The sweep is taken to go on beyond its end with the same L, since harmonics do.
    """
    top = 0.49 * rate
    band = (sweep.start_hz, top)
    h = deconvolve(y, generate(sweep, rate, top), rate, band)
    if loopback is not None:
        arrival = int(np.argmax(np.abs(h)))  # the sweep's own clock, not the loopback's
    reach = 0.9 * rate / 2
    # A sweep without fades ripples at its ends, over about the root of its chirp rate there.
    low = sweep.start_hz + 1.5 * math.sqrt(sweep.start_hz / time_constant(sweep))
    high = min(sweep.stop_hz / G ** (1 / 6), reach / 2)
    if low >= high:
        raise CurveError(Problem("sweep", f"{sweep.seconds:g} s", "a longer or wider sweep"))
    f = low * G ** np.arange(0, math.log(high / low) / math.log(G), 1 / _PER_OCTAVE)
    base = _spectrum(_harmonic(h, arrival, sweep, rate, 1), rate, f)
    harmonics, noises = {}, []
    for order in ORDERS:
        in_reach = order * f <= reach
        part = _harmonic(h, arrival, sweep, rate, order)
        ratio = 100 * _spectrum(part, rate, order * f) / base
        noise = 100 * _quiet(h, arrival, sweep, rate, part.size, order * f) / base
        harmonics[order] = np.where(in_reach, ratio, np.nan)
        noises.append(np.where(in_reach, noise, np.nan))
    return Distortion(f, None, harmonics, total_harmonic(noises), bandwidth_hz=reach)


def _harmonic(
    h: npt.NDArray[np.float64], arrival: int, sweep: Sweep, rate: float, order: int
) -> npt.NDArray[np.float64]:
    """Cut out one harmonic's response, clear of its neighbours."""
    gap_before = time_constant(sweep) * math.log((order + 1) / order) * rate
    gap_after = (
        time_constant(sweep) * math.log(order / (order - 1)) * rate if order > 1 else _TAIL * rate
    )
    before = min(0.25 * gap_before, 2 * rate / sweep.start_hz)
    after = min(0.7 * gap_after, _TAIL * rate)
    return _cut(h, arrival - lead(sweep, order) * rate, before, after)


def _spectrum(
    part: npt.NDArray[np.float64], rate: float, at: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Magnitude at some frequencies, interpolated in a transform padded to four times."""
    n = next_fast_len(4 * part.size, real=True)
    result: npt.NDArray[np.float64] = np.interp(at, rfftfreq(n, 1 / rate), np.abs(rfft(part, n)))
    return result


def _quiet(
    h: npt.NDArray[np.float64],
    arrival: int,
    sweep: Sweep,
    rate: float,
    size: int,
    at: npt.NDArray[np.float64],
) -> npt.NDArray[np.float64]:
    """Magnitude that the noise has in a window of `size` samples.

    Stretches ahead of harmonic 14 show what high frequencies hold, stretches behind the linear
    response what low ones hold: a stretch a time tau ahead says nothing about frequencies under
    f1 e^(tau/L), for which the recording has no earlier data.
    """
    constant = time_constant(sweep)
    width = min(max(0.08 * constant, 0.01), 0.15) * rate
    early = _stretches(h, arrival - lead(sweep, 14) * rate, -width, rate, at)
    late = _stretches(h, arrival + _TAIL * rate, max(width, 2 * rate / sweep.start_hz), rate, at)
    power = np.where(at > 30 * sweep.start_hz, early, late)
    return np.asarray(np.sqrt(power * size), dtype=np.float64)


def _stretches(
    h: npt.NDArray[np.float64], start: float, step: float, rate: float, at: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Power of the noise a sample of window: median over five stretches in a row."""
    width = abs(step)
    powers = []
    for i in range(5):
        part = _cut(h, start + i * step, width / 2, width / 2)
        powers.append(_spectrum(part, rate, at) ** 2 / (0.55 * width))
    # The power of noise is distributed exponentially: its median is ln 2 of its mean.
    return np.asarray(np.median(powers, axis=0) / math.log(2), dtype=np.float64)


def _noise_warnings(distortion: Distortion) -> list[Warning]:
    thd = total_harmonic(distortion.harmonics.values())
    noise = distortion.noise
    if noise is None or np.all(np.isnan(thd)):
        return []
    buried = float(np.nanmean(thd[~np.isnan(thd)] < _MARGIN * noise[~np.isnan(thd)]))
    if buried < 0.5:
        return []
    text = f"harmonics: {100 * buried:.0f} % of them are within 6 dB of the noise."
    return [Warning("noise_floor", text + " Raise the drive, or use a longer sweep.")]


def _short_warnings(sweep: Sweep) -> list[Warning]:
    periods = sweep.start_hz * time_constant(sweep)
    if periods >= 8:
        return []
    edge = sweep.start_hz + 1.5 * math.sqrt(sweep.start_hz / time_constant(sweep))
    text = (
        f"the sweep is so short that levels below {edge:.3g} Hz are uncertain by 1 dB or more and "
        "harmonics overlap there; use a longer sweep."
    )
    return [Warning("short_sweep", text)]
