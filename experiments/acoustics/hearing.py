"""From a curve to its metrics: which definitions apply, and when the answer is 'cannot tell'."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics import calibration, spectrum
from experiments.acoustics import decay as decays
from experiments.acoustics import distortion as distortions
from experiments.acoustics import response as responses
from experiments.acoustics import sweep as sweeps
from experiments.acoustics.curves import Distortion, Impulse, Response
from experiments.acoustics.evidence import harmonic_support
from experiments.acoustics.hearing_break_up import hear_break_up, hertz
from experiments.acoustics.options import Sweep
from experiments.acoustics.quality import Warning, clipping
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    from experiments.acoustics.options import Options
    from experiments.acoustics.reading import Reading

__all__ = ["Heard", "hear", "hear_curve"]

_NOISE_MARGIN: Final = 6.0  # dB: nearer to the noise there is no value
_LEVEL_MARGIN: Final = 10.0  # dB: noise of 10 dB less adds 0.4 dB to a level
_NOISE_DOUBT: Final = 20.0  # dB: nearer than this a limit is doubtful
_CALM: Final = 48.0  # N of 1/N octave


@dataclass
class Heard:
    """What is being gathered about one file.

    Parameters
    ----------
    warnings : list of Warning
        Added to.
    notes : list of str
        Added to.
    values : dict of str to float or None
        Metrics by name.
    curves : dict of str to curve
        Curves by kind.
    known_to : dict of str to float
        Metrics that the data tell no better than to a share of their value.
    """

    warnings: list[Warning]
    notes: list[str]
    values: dict[str, float | None] = field(default_factory=dict)
    curves: dict[str, Response | Distortion | Impulse] = field(default_factory=dict)
    known_to: dict[str, float] = field(default_factory=dict)

    def warn(self, code: str, text: str) -> None:
        """Add a warning, once."""
        warning = Warning(code, text)
        if warning not in self.warnings:
            self.warnings.append(warning)


def hear(reading: Reading, options: Options, heard: Heard, name: str) -> None:
    """Compute every metric of what was read, into `heard`."""
    try:
        if reading.kind == "sweep":
            _hear_sweep(reading, options, heard)
        else:
            hear_curve(reading.curve, options, heard)
    except CurveError as error:
        raise CurveError(
            *(
                Problem(f"{name}: {p.where}", p.found, p.expected, p.remedy)
                if isinstance(p, Problem)
                else p
                for p in error.problems
            )
        ) from None


def hear_curve(curve: Response | Distortion | Impulse, options: Options, heard: Heard) -> str:
    """Compute every metric of a curve, into `heard`; returns the kind of the curve."""
    if isinstance(curve, Response):
        curve, notes = calibration.stated(curve, options)
        heard.notes += notes
        heard.curves["response"] = curve
        _hear_response(curve, options, heard)
        hear_break_up(curve, None, options, heard)
        return "response"
    if isinstance(curve, Distortion):
        heard.curves["distortion"] = curve
        _hear_distortion(curve, options, heard)
        return "distortion"
    heard.curves["impulse"] = curve
    clipped = clipping(curve.samples, curve.step)
    if clipped is None:
        _hear_decay(curve, heard)
    else:
        heard.values["decay_ms"] = None
        heard.warn(clipped.code, f"decay: {clipped.text}")
    response = spectrum.response_of_impulse(curve)
    heard.curves["response"] = response
    heard.notes.append("levels of an impulse response are relative to a gain of 1")
    heard.notes += calibration.unused(options, *calibration.CONDITIONS)
    heard.notes.append(f"the impulse response carries nothing below {hertz(response.floor_hz)}")
    if spectrum.cut_off(curve):
        heard.warn(
            "decay_not_finished",
            f"response: the record is cut off {1000 * spectrum.gate_length(curve):.3g} ms after "
            "its peak, while it still rings, so the curve ripples and its noise is not known; "
            "record longer.",
        )
    _hear_response(response, options, heard, spectrum.settling(curve))
    hear_break_up(response, curve, options, heard)
    return "impulse"


def _hear_sweep(reading: Reading, options: Options, heard: Heard) -> None:
    if not isinstance(reading.curve, Impulse) or options.sweep is None:
        raise CurveError(Problem("sweep", "no recording or no excitation", "both"))
    faulty = any(warning.code in ("clipping", "drop_outs") for warning in heard.warnings)
    result = sweeps.analyse(reading.curve, options.sweep, reading.loopback, faulty=faulty)
    response, notes = calibration.absolute(result.response, result.stimulus, options)
    heard.curves.update(impulse=result.impulse, response=response, distortion=result.distortion)
    heard.warnings += result.warnings
    sweep = options.sweep
    law = "excitation taken as" if sweep.law is None else "excitation:"
    heard.notes += [
        f"{law} the {result.law} sweep from {hertz(sweep.start_hz)} to {hertz(sweep.stop_hz)} in "
        f"{sweep.seconds:g} s; the response arrives {1000 * result.latency:.2f} ms after "
        + ("the start of the recording" if reading.loopback is None else "the loopback channel"),
        *notes,
    ]
    if options.sensitivity_dbfs is None:
        reference = "a gain of 1" if reading.loopback is None else "the loopback channel"
        if reading.loopback is None and sweep == Sweep(
            sweep.start_hz, sweep.stop_hz, sweep.seconds
        ):
            reference = (
                "a sweep at full scale, for the level that it was played at is not known: with "
                "its sidecar beside the recording they are relative to a gain of 1"
            )
        heard.notes.append(f"levels are relative to {reference}")
    elif options.sensitivity_dbfs > 0:
        heard.warn(
            "over_full_scale",
            f"level: 94 dB SPL is said to read {options.sensitivity_dbfs:+.4g} dBFS, over full "
            "scale, where so loud a sound would be clipped; check its sign.",
        )
    _hear_decay(result.impulse, heard)
    _hear_response(response, options, heard)
    hear_break_up(response, result.impulse, options, heard)
    broken = heard.values["breakup_hz"]
    heard.notes += [] if broken is None else harmonic_support(result.distortion, broken)
    _hear_distortion(result.distortion, options, heard)
    gaps = any(warning.code == "drop_outs" for warning in heard.warnings)
    heard.values.update(dict.fromkeys(sweeps.SPOILT_BY_LOSS if gaps else result.spoilt))


def _warn_gaps(response: Response, options: Options, heard: Heard) -> None:
    """Warn where points are missing: the curve is drawn straight across."""
    f = response.frequency
    steps = f[1:] / f[:-1]
    place = int(np.argmax(steps))
    usual = float(np.median(steps))
    if steps[place] < max(10**0.1, usual**4):
        return
    low, high = options.band or (0.0, math.inf)
    if f[place + 1] > low and f[place] < high:
        heard.warn(
            "gap",
            f"no data between {hertz(f[place])} and {hertz(f[place + 1])}; the curve was taken as "
            "straight there.",
        )


def _hear_response(
    response: Response, options: Options, heard: Heard, settling: float | None = None
) -> None:
    """Level, deviation and limits; `settling` (s) is that of an impulse response."""
    _warn_gaps(response, options, heard)
    curve = responses.smoothed(response, options.smooth)
    if options.smooth is not None:
        heard.notes.append(f"smoothed by 1/{options.smooth:g} octave before limits and deviation")
    if options.smooth is None and response.noise_db is not None:
        # Noise would make a limit out of the last of many crossings, and extremes of its own;
        # troughs so narrow are passed over anyway.
        curve = responses.outline(response, _CALM)
        heard.notes.append(
            f"averaged over 1/{_CALM:g} octave before limits and deviation, against noise"
        )
    _hear_level(curve, response, options, heard, settling)
    _hear_limits(curve, response, options, heard)


def _hear_level(
    curve: Response,
    response: Response,
    options: Options,
    heard: Heard,
    settling: float | None,
) -> None:
    """Level from the curve as it is, deviation from the smoothed one."""
    for name in ("level_db", "deviation_db", "deviation_sd_db"):
        heard.values[name] = None
    band, cut = responses.cover(response, options.band)
    if band is None:
        _warn_uncovered(response, options, heard)
        return
    how = _how(options) + (", cut to the data" if cut and options.band is not None else "")
    if options.band is None and settling is not None:
        band = min(max(band[0], 1 / settling), band[1] / 2), band[1]
        how = f"no band stated: from 1/T on, T = {1000 * settling:.3g} ms to 0.1 % of the peak"
    heard.notes.append(f"level and deviation over {_band(band)} ({how})")
    lowest, margin = _least_margin(curve, response, band)
    near = margin is not None and margin < _NOISE_MARGIN
    if near and options.band is None:
        heard.warn(
            "noise_floor",
            f"level and deviation: at {hertz(lowest)} the noise comes within {_NOISE_MARGIN:g} dB "
            "of the curve; state the band that counts, or measure with less noise.",
        )
        return
    if _mean_margin(response, band) >= _LEVEL_MARGIN:
        heard.values["level_db"] = responses.level(response, band)
    else:
        heard.warn(
            "noise_floor",
            f"level: the noise in the band is within {_LEVEL_MARGIN:g} dB of it; raise the drive "
            "or average more measurements.",
        )
    if near:
        heard.warn(
            "noise_floor",
            f"deviation: at {hertz(lowest)}, where the curve is lowest, the noise is within "
            f"{_NOISE_MARGIN:g} dB of it; state a narrower band, or measure with less noise.",
        )
        return
    spread = responses.deviation(curve, band)
    heard.values["deviation_db"] = spread.half_spread_db
    heard.values["deviation_sd_db"] = spread.sd_db


def _mean_margin(response: Response, band: tuple[float, float]) -> float:
    """Return by how many dB the level in a band stands over that of the noise there."""
    if response.noise_db is None:
        return math.inf
    noise = Response(response.frequency, response.noise_db)
    return responses.level(response, band) - responses.level(noise, band)


def _least_margin(
    curve: Response, response: Response, band: tuple[float, float]
) -> tuple[float, float | None]:
    """Return where a curve is lowest in a band, Hz, and by how much it is over the noise, dB."""
    f = curve.frequency
    at = np.concatenate((band, f[(f > band[0]) & (f < band[1])]))
    levels = np.interp(np.log(at), np.log(f), curve.level)
    lowest = float(at[np.argmin(levels)])
    if response.noise_db is None:
        return lowest, None
    noise = float(np.interp(math.log(lowest), np.log(response.frequency), response.noise_db))
    return lowest, float(np.min(levels)) - noise


def _warn_uncovered(response: Response, options: Options, heard: Heard) -> None:
    low, high = float(response.frequency[0]), float(response.frequency[-1])
    said = "the band" if options.band is None else _band(options.band)
    gate = response.floor_hz > 0 and options.band is not None and options.band[0] < low
    heard.warn(
        "gate_too_short" if gate else "band_not_covered",
        f"level and deviation: the data reach from {hertz(low)} to {hertz(high)}, not over "
        f"{said}; measure further, or state a narrower band.",
    )


def _hear_limits(curve: Response, response: Response, options: Options, heard: Heard) -> None:
    found = responses.effective_range(curve, options.drop_db, options.band)
    heard.notes.append(
        f"limits where the curve falls {options.drop_db:g} dB below {found.reference_db:.2f} dB, "
        f"the mean over {_band(found.octave)} ({_how(options)})"
    )
    if found.passed_over:
        places = ", ".join(hertz(f) for f in found.passed_over[:5])
        heard.notes.append(f"troughs narrower than 1/9 octave passed over at {places}")
    f = response.frequency
    for name, value, edge, end, side in (
        ("lower_limit_hz", found.lower_hz, found.lower_at_edge, float(f[0]), "lower"),
        ("upper_limit_hz", found.upper_hz, found.upper_at_edge, float(f[-1]), "upper"),
    ):
        heard.values[name] = value
        margin = None if value is None else _noise_margin(response, value)
        if value is None:
            _warn_unreached(response, side, end, options.drop_db, heard)
        elif margin is not None and margin < _NOISE_DOUBT:
            if margin < _NOISE_MARGIN:
                heard.values[name] = None
            heard.warn(
                "noise_floor",
                f"{side} limit: at {hertz(value)} the noise is only {margin:.0f} dB below the "
                "curve; average more measurements or raise the drive.",
            )
        elif edge:
            heard.warn(
                "limit_at_edge",
                f"{side} limit: the data end less than 1/9 octave after {hertz(value)}, so a "
                "narrow trough cannot be told from the end of the range.",
            )
        if value is not None:
            _warn_coarse(response, value, side, heard)


def _warn_unreached(
    response: Response, side: str, end: float, drop_db: float, heard: Heard
) -> None:
    if side == "lower" and response.floor_hz > 0:
        heard.warn(
            "gate_too_short",
            f"lower limit: the curve does not fall by {drop_db:g} dB above {hertz(end)}, and an "
            "impulse response of this length carries nothing below.",
        )
        return
    heard.warn(
        "beyond_measured_range",
        f"{side} limit: beyond the measured range, the curve does not fall by {drop_db:g} dB "
        f"before the data end at {hertz(end)}.",
    )


def _warn_coarse(response: Response, limit: float, side: str, heard: Heard) -> None:
    """Warn if the points at a limit lie further apart than the troughs that count."""
    f = response.frequency
    place = min(max(int(np.searchsorted(f, limit)), 1), f.size - 1)
    ratio = float(f[place] / f[place - 1])
    if ratio > 10 ** (0.3 / 9) * 1.001:
        heard.known_to[f"{side}_limit_hz"] = 0.5 * (ratio - 1)
        heard.warn(
            "coarse_grid",
            f"{side} limit: points are {100 * (ratio - 1):.0f} % apart there, so the limit is "
            "known to about half of that and narrow troughs may be missed.",
        )


def _noise_margin(response: Response, frequency: float) -> float | None:
    """Return by how many dB the curve stands over the noise."""
    if response.noise_db is None:
        return None
    x, at = np.log(response.frequency), math.log(frequency)
    return float(np.interp(at, x, response.level) - np.interp(at, x, response.noise_db))


def _hear_decay(impulse: Impulse, heard: Heard) -> None:
    found = decays.decay(impulse)
    heard.values["decay_ms"] = None if found.seconds is None else 1000 * found.seconds
    heard.notes.append("decay from the largest magnitude to the last envelope at or over 5 %")
    if abs(found.offset) > 1e-4:
        heard.notes.append(f"an offset of {100 * found.offset:.2g} % of the peak was taken off")
    if found.reason == "noise_floor":
        heard.warn(
            "noise_floor",
            f"decay: the end of the record stands {found.noise_db:+.1f} dB from the 5 % line; it "
            "must be 6 dB below. Raise the drive or average more measurements.",
        )
    elif found.reason == "decay_not_finished":
        heard.warn(
            "decay_not_finished",
            "decay: the record ends before the envelope has fallen to 5 %; record longer.",
        )
    elif found.reason == "silent":
        heard.warn("silent", "decay: the record is zero throughout.")


def _hear_distortion(curve: Distortion, options: Options, heard: Heard) -> None:
    names = ("thd_peak_percent", "thd_peak_hz", *(f"hd{k}_percent" for k in (2, 3, 4, 5)))
    heard.values.update(dict.fromkeys(names))
    peak = distortions.thd_peak(curve, options.band, options.thd_of)
    if peak is None:
        where = "in the file" if options.band is None else f"in {_band(options.band)}"
        if curve.noise is None:
            heard.warn("no_distortion", f"THD: no usable point {where}.")
        else:
            heard.warn("noise_floor", f"THD: no harmonic stands 6 dB over the noise {where}.")
        return
    if peak.noise_margin_db is not None and peak.noise_margin_db < _NOISE_MARGIN:
        heard.warn(
            "noise_floor",
            f"THD: all of it is within {_NOISE_MARGIN:g} dB of the noise; it is at most "
            f"{peak.thd:.2g} %, at {hertz(peak.frequency)}.",
        )
        return
    heard.values["thd_peak_percent"] = peak.thd
    heard.values["thd_peak_hz"] = peak.frequency
    heard.notes.append(f"THD relative to the {options.thd_of}, harmonics to the fundamental")
    heard.notes.append(
        f"THD peak sought over {_band(peak.covered)} "
        f"({_how(options)}{_cut_short(curve, peak.covered, options)})"
    )
    if curve.thd is None:
        orders = ", ".join(str(k) for k in curve.harmonics)
        heard.notes.append(f"THD computed from harmonics {orders}")
    for order in (2, 3, 4, 5):
        value = peak.harmonics.get(order, math.nan)
        if math.isnan(value) and curve.noise is not None:
            text = f"HD{order}: not {_NOISE_MARGIN:g} dB over the noise at the THD peak."
            heard.warn("noise_floor", text)
        elif math.isnan(value):
            heard.warn(
                "missing_harmonic", f"HD{order}: the file does not give it at the THD peak."
            )
        else:
            heard.values[f"hd{order}_percent"] = value
    _warn_peak(curve, peak, heard)


def _warn_peak(curve: Distortion, peak: distortions.DistortionPeak, heard: Heard) -> None:
    if peak.at_edge:
        heard.warn(
            "peak_at_edge",
            f"THD peak: it lies at the end of the band or of the data ({hertz(peak.frequency)}); "
            "it may be higher beyond.",
        )
    impossible = distortions.below_a_harmonic(curve)
    if impossible:
        at, total, largest = impossible[0]
        heard.warn(
            "thd_implausible",
            f"THD: {total:.3g} % at {hertz(at)} beside a harmonic of {largest:.3g} %, and "
            f"{len(impossible)} such points in all; no THD can be below one of its harmonics. "
            "Are the columns named rightly, in one unit?",
        )
    if peak.thd > 100:
        heard.warn(
            "thd_implausible",
            f"THD: {peak.thd:.4g} % means more distortion than signal; check the unit of the "
            "file, or the level of the fundamental there.",
        )
    if peak.unused:
        heard.notes.append(f"{peak.unused} points without all harmonics were not used")
    top = distortions.highest_fundamental(curve)
    beyond = int(np.count_nonzero(curve.frequency > top * (1 + 1e-9)))
    if curve.bandwidth_hz is None and beyond:
        heard.warn(
            "beyond_bandwidth",
            f"THD: {beyond} points above {hertz(top)} were not used, since even their second "
            f"harmonic lies above {hertz(2 * top)}; the file does not say how far it was "
            "measured.",
        )


def _cut_short(curve: Distortion, covered: tuple[float, float], options: Options) -> str:
    """Say what kept the search for the THD peak from reaching over the whole band."""
    f, slack = curve.frequency, 1 + 1e-9
    low, high = options.band or (float(f[0]), float(f[-1]))
    why = "no harmonics known, or too near to the noise"
    said = []
    if covered[0] > low * slack:
        said.append(f"below, {'no data' if covered[0] <= f[0] * slack else why}")
    if covered[1] * slack < high:
        top = distortions.highest_fundamental(curve)
        beyond = f[f > covered[1] * slack]
        if not beyond.size:
            why = "no data"
        elif beyond[0] > top * slack:
            why = "harmonics lie beyond the bandwidth of the measurement"
        said.append(f"above, {why}")
    if not said:
        return ""
    return "; " + ("" if options.band is None else f"{_band(options.band)}, ") + ", ".join(said)


def _how(options: Options) -> str:
    """Say which band was meant."""
    return "no band stated: everything measured" if options.band is None else "the band stated"


def _band(band: tuple[float, float]) -> str:
    return f"{hertz(band[0])} to {hertz(band[1])}"
