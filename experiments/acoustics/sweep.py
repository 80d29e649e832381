"""Sweep recordings: response, impulse response and distortion, the harmonics parted.

A sweep reaches k times a frequency L ln k later, whatever the frequency. After deconvolution the
response of the k-th harmonic therefore stands L ln k ahead of the linear one and can be cut out.

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

from experiments.acoustics.arrivals import (
    check_arrivals,
    clock_warning,
    find_arrival,
    refuse_other_rate,
)
from experiments.acoustics.bands import G
from experiments.acoustics.bursts import find_burst
from experiments.acoustics.clock import (
    CLEAR,
    LARGEST,
    Clock,
    compare_clocks,
    smear_phase,
    stretched,
)
from experiments.acoustics.continuity import lost_samples
from experiments.acoustics.curves import Distortion, Impulse, Response
from experiments.acoustics.decay import decay
from experiments.acoustics.deconvolution import Spectrum, loopback_peak
from experiments.acoustics.distortion import total_harmonic
from experiments.acoustics.quality import Warning, low_level
from experiments.acoustics.stimulus import ended, generate, lead, time_constant
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Sweep

__all__ = ["ORDERS", "SPOILT_BY_LOSS", "SPOILT_BY_NOISE", "SweepResult", "analyse"]

ORDERS: Final = (2, 3, 4, 5)
"""Harmonics that are parted."""

SPOILT_BY_NOISE: Final = (
    "deviation_db", "deviation_sd_db", "breakup_hz", "breakup_q", "thd_peak_percent",
    "thd_peak_hz", *(f"hd{order}_percent" for order in ORDERS),
)  # fmt: skip
"""Metrics without a value after a short noise from outside."""

SPOILT_BY_LOSS: Final = (*SPOILT_BY_NOISE, "lower_limit_hz", "upper_limit_hz", "decay_ms")
"""Metrics without a value where samples were lost."""

_PER_OCTAVE: Final = 24  # points of the distortion curve
_DECAY_DOUBT: Final = 0.05  # of the decay: it has no value where the clock leaves more open
_TAIL: Final = 0.5  # s of impulse response kept
_ENDS: Final = 4.0  # over the window's rise: by so many Hz does the response end before the sweep
_SLACK: Final = 2.5  # s beyond the recording, for what leads the sweep
_LOW_STOP: Final = 2000.0  # Hz up to which the laws are compared first
_TOP: Final = 0.49  # of the rate: up to where harmonics are sought
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
    spoilt : tuple of str
        Metrics that a fault of the recording leaves without a value; a warning says which fault.
    """

    impulse: Impulse
    response: Response
    distortion: Distortion
    latency: float
    law: str
    warnings: list[Warning]
    stimulus: float
    spoilt: tuple[str, ...] = ()


def analyse(
    recording: Impulse,
    sweep: Sweep,
    loopback: npt.NDArray[np.float64] | None = None,
    *,
    faulty: bool = False,
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
    faulty : bool
        Whether its samples are clipped or have gaps; what these add is then not taken for a noise
        from outside.

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
    spectrum = Spectrum(y, rate, _room(sweep, rate, y.size))
    sweep = _fitting_law(spectrum, sweep) if loopback is None else _with_law(sweep)
    band = (sweep.start_hz, sweep.stop_hz)
    played, further = _excitation(sweep, rate)
    h = spectrum.divided(played if loopback is None else loopback, band)
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
    arrival = find_arrival(h, sweep, rate, y.size)
    warnings = _short_warnings(sweep)
    jump = lost_samples(h, arrival, sweep, rate) if loopback is None else None
    counted = jump is not None and jump.samples is not None
    if loopback is None and not counted:
        clock = compare_clocks(h, arrival, time_constant(sweep), band, rate)
        if clock.smear >= CLEAR and abs(clock.error) <= LARGEST:
            sweep = stretched(sweep, clock.error)
            played, further = _excitation(sweep, rate)
            h = spectrum.divided(played, band)
            arrival = find_arrival(h, sweep, rate, y.size)
            jump = lost_samples(h, arrival, sweep, rate)
    lost = [] if counted else check_arrivals(h, arrival, sweep, rate)
    if loopback is None and not counted:
        refuse_other_rate(h, arrival, sweep, rate, clock)
    if jump is not None:
        lost = [jump.warning()]
    beyond = spectrum.divided(further, (sweep.start_hz, _TOP * rate))
    # The sweep's own clock, not the loopback's.
    own = arrival if loopback is None else int(np.argmax(np.abs(beyond)))
    burst = None if faulty or lost else find_burst(y, own, sweep, rate)
    impulse = _linear(h, arrival, sweep, recording)
    response = _response(impulse, h, arrival, sweep)
    coarse = low_level(recording.samples, recording.step) is not None
    step = (recording.step or 0.0) if coarse else 0.0
    distortion = _distortion(beyond, own, sweep, rate, step)
    spoilt = SPOILT_BY_LOSS if lost else SPOILT_BY_NOISE if burst is not None else ()
    if loopback is None and not counted and clock.error:
        doubt = _decay_doubt(impulse, clock, sweep)
        spoilt = spoilt if doubt is not None else (*spoilt, "decay_ms")
        warnings.append(clock_warning(clock, doubt))
    warnings += [*lost, *([burst.warning()] if burst is not None else [])]
    warnings += _noise_warnings(distortion)
    return SweepResult(
        impulse, response, distortion, arrival / rate, str(sweep.law), warnings,
        sweep.amplitude if loopback is None else loopback_peak(loopback, sweep, rate),
        spoilt,
    )  # fmt: skip


def _room(sweep: Sweep, rate: float, recorded: int) -> int:
    """Count the samples that keep what leads the sweep apart from what follows the recording."""
    longest = time_constant(sweep) * math.log(_TOP * rate / sweep.start_hz) * rate
    return max(recorded + round(min(sweep.seconds, _SLACK) * rate), math.ceil(longest) + 1)


def _excitation(
    sweep: Sweep, rate: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Make the sweep, and one that goes on beyond its end with the same L, as harmonics do."""
    top = _TOP * rate
    further = generate(sweep, rate, top)
    played = ended(further, sweep, rate) if sweep.stop_hz <= top else generate(sweep, rate)
    return played, further


def _with_law(sweep: Sweep) -> Sweep:
    return sweep if sweep.law else replace(sweep, law="exponential")


def _fitting_law(spectrum: Spectrum, sweep: Sweep) -> Sweep:
    """Choose the law under which the impulse response is sharpest, where none is stated.

    The two laws differ in L, which low frequencies show as well as all of them; only if these
    leave it open are all compared.
    """
    if sweep.law is not None:
        return sweep
    laws = [replace(sweep, law="exponential"), replace(sweep, law="synchronised")]
    if sweep.start_hz * sweep.seconds / math.log(sweep.stop_hz / sweep.start_hz) < 0.5:
        return laws[0]
    if sweep.stop_hz > 2 * _LOW_STOP:
        lower = spectrum.below(2.5 * _LOW_STOP)
        peaks = [_peak(lower, _cut_short(law, _LOW_STOP)) for law in laws]
        if max(peaks) > 1.2 * min(peaks):
            return laws[int(np.argmax(peaks))]
    return laws[int(np.argmax([_peak(spectrum, law) for law in laws]))]


def _peak(spectrum: Spectrum, sweep: Sweep) -> float:
    h = spectrum.divided(generate(sweep, spectrum.rate), (sweep.start_hz, sweep.stop_hz))
    return float(np.max(np.abs(h)))


def _cut_short(sweep: Sweep, stop_hz: float) -> Sweep:
    """Return the part of a sweep below a frequency."""
    seconds = time_constant(sweep) * math.log(stop_hz / sweep.start_hz)
    return replace(sweep, stop_hz=stop_hz, seconds=seconds, fade_out=0.0)


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


def _decay_doubt(impulse: Impulse, clock: Clock, sweep: Sweep) -> float | None:
    """By how many s the decay changes within what is known of the clock.

    None where that is over 5 % of it. Where nothing was undone, all of the difference is in doubt.
    """
    best = decay(impulse).seconds
    reach = clock.doubt if clock.smear >= CLEAR else abs(clock.error) + clock.doubt
    f = rfftfreq(impulse.samples.size, 1 / impulse.rate)
    phase = smear_phase(f, time_constant(sweep), sweep.start_hz)
    spectrum = rfft(impulse.samples)
    found = []
    for error in reach * np.linspace(-1, 1, 9):
        samples = irfft(spectrum * np.exp(1j * error * phase), impulse.samples.size)
        found.append(decay(replace(impulse, samples=samples)).seconds)
    known = [one for one in found if one is not None]
    if best is None or len(known) < len(found):
        return None
    doubt = max(abs(one - best) for one in known)
    return doubt if doubt <= _DECAY_DOUBT * best else None


def _response(
    impulse: Impulse, h: npt.NDArray[np.float64], arrival: int, sweep: Sweep
) -> Response:
    """Transform the linear impulse response, and say how high the noise stands in it."""
    rate = impulse.rate
    n = max(4 * impulse.samples.size, round(8 * rate / sweep.start_hz))
    n = next_fast_len(n, real=True)
    f = rfftfreq(n, 1 / rate)
    # The window smears the end of the sweep over its own resolution.
    end = sweep.stop_hz - _ENDS / (-impulse.start + arrival / rate)
    use = (f >= sweep.start_hz) & (f <= end)
    f, size = f[use], np.abs(rfft(impulse.samples, n))[use]
    lowest = 1e-20 * float(np.max(size))
    level = 20 * np.log10(np.maximum(size, lowest))
    at = np.geomspace(f[0], f[-1], 200)
    noise = _quiet(h, arrival, sweep, rate, impulse.samples.size, at)
    noise_db = np.interp(np.log(f), np.log(at), 20 * np.log10(np.maximum(noise, lowest)))
    return Response(f, level, noise_db=noise_db)


def _distortion(
    h: npt.NDArray[np.float64], arrival: int, sweep: Sweep, rate: float, step: float
) -> Distortion:
    """Cut out each harmonic and relate it to the fundamental.

    Steps as coarse as `step` make harmonics of their own: below one of them none counts.
    """
    reach = 0.9 * rate / 2
    # A sweep without fades ripples at its ends, over about the root of its chirp rate there.
    low = sweep.start_hz + 1.5 * math.sqrt(sweep.start_hz / time_constant(sweep))
    high = min(sweep.stop_hz / G ** (1 / 6), reach / 2)
    if low >= high:
        raise CurveError(Problem("sweep", f"{sweep.seconds:g} s", "a longer or wider sweep"))
    f = low * G ** np.arange(0, math.log(high / low) / math.log(G), 1 / _PER_OCTAVE)
    base = _spectrum(_harmonic(h, arrival, sweep, rate, 1), rate, f)
    harmonics, noises = {}, {}
    for order in ORDERS:
        in_reach = order * f <= reach
        part = _harmonic(h, arrival, sweep, rate, order)
        ratio = 100 * _spectrum(part, rate, order * f) / base
        quiet = _quiet(h, arrival, sweep, rate, part.size, order * f)
        noise = 100 * np.maximum(quiet, step / _MARGIN / sweep.amplitude) / base
        harmonics[order] = np.where(in_reach, ratio, np.nan)
        noises[order] = np.where(in_reach, noise, np.nan)
    return _over_noise(f, harmonics, noises, reach)


def _over_noise(
    f: npt.NDArray[np.float64],
    harmonics: dict[int, npt.NDArray[np.float64]],
    noises: dict[int, npt.NDArray[np.float64]],
    reach: float,
) -> Distortion:
    """Leave out each harmonic that stands less than 6 dB over its noise; THD is of the others."""
    sure = {order: _stands_out(harmonics[order], noises[order]) for order in harmonics}
    kept = {order: np.where(sure[order], harmonics[order], np.nan) for order in harmonics}
    some = np.any(list(sure.values()), axis=0)
    counted = [np.where(some & ~sure[order], 0.0, noises[order]) for order in noises]
    thd = np.sqrt(np.nansum(np.square(list(kept.values())), axis=0))
    # Above bandwidth / 5 not every harmonic is known.
    thd = np.where(some & (max(harmonics) * f <= reach), thd, np.nan)
    return Distortion(f, thd, kept, total_harmonic(counted), bandwidth_hz=reach)


def _stands_out(
    harmonic: npt.NDArray[np.float64], noise: npt.NDArray[np.float64]
) -> npt.NDArray[np.bool_]:
    """Whether a harmonic stands over the noise, at a point and in the mean about it.

    Noise itself is 6 dB over its mean at one point in 55, by chance, but not at five in a row.
    """
    over = np.where(noise > 0, harmonic / np.where(noise > 0, noise, 1.0), np.inf)
    power = np.nan_to_num(over, nan=0.0, posinf=1e6) ** 2
    mean = np.convolve(power, np.ones(5) / 5, "same")
    stands: npt.NDArray[np.bool_] = (over >= _MARGIN) & (mean >= _MARGIN**2)
    return stands


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
    known = max(distortion.harmonics) * distortion.frequency <= (distortion.bandwidth_hz or 0.0)
    if distortion.thd is None or not np.any(known):
        return []
    buried = float(np.mean(np.isnan(distortion.thd[known])))
    if buried < 0.5:
        return []
    text = f"harmonics: at {100 * buried:.0f} % of frequencies all are within 6 dB of the noise."
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
