"""Break-up in one file: which evidence carries it, and what must be said about it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics import breakup, reflection, resonance, spectrum
from experiments.acoustics import decay as decays
from experiments.acoustics import response as responses
from experiments.acoustics.bands import G
from experiments.acoustics.curves import Response

if TYPE_CHECKING:
    from experiments.acoustics.curves import Impulse
    from experiments.acoustics.hearing import Heard
    from experiments.acoustics.options import Options

__all__ = ["hear_break_up", "hertz"]

_LISTED: Final = 4
_LOUD_END: Final = 0.01  # of the peak: a record that ends over this ends too early
_SOUND: Final = 343.0  # m/s in air of 20 °C
_RUNG: Final = 2.5  # time constants, in which a mode falls by 22 dB
_FITTED: Final = 16  # points in the octaves to both sides that are enough for a fit
_DISAGREE: Final = 0.25  # relative difference of two Q values


def hertz(frequency: float) -> str:
    """Write a frequency: ``82.5 Hz``, ``3.113 kHz``."""
    return f"{frequency / 1000:.4g} kHz" if frequency >= 1000 else f"{frequency:.4g} Hz"


def hear_break_up(
    response: Response, impulse: Impulse | None, options: Options, heard: Heard
) -> None:
    """Find the break-up resonance and put it, or why there is none, into `heard`.

    Parameters
    ----------
    response : Response
        The curve.
    impulse : Impulse or None
        The impulse response that it was transformed from; its decay then gives the Q.
    options : Options
        `band`, `prominence_db` and `smooth` are used.
    heard : Heard
        Added to.
    """
    heard.values["breakup_hz"] = heard.values["breakup_q"] = None
    cut = impulse is not None and (_ends_loud(impulse) or spectrum.cut_off(impulse))
    if impulse is not None and cut:
        response = _faded(impulse, response)
        heard.notes.append("the record ends over 1 % of its peak: faded before break-up is sought")
    clear = reflection.cleared(response)
    _say_reflections(clear, heard)
    if clear.response is None:
        return
    response = clear.response
    curve = breakup.search_curve(response)
    if options.smooth is not None:
        curve = responses.smoothed(response, options.smooth)
    result = breakup.find_break_up(response, curve, options.prominence_db, options.band)
    _say_search(result, options, heard)
    if result.found is None:
        _warn_no_break_up(result, options, heard)
        return
    peak, fit = result.found.peak, None if cut else result.found.fit
    if peak.prominence < clear.ripple_db:
        heard.warn(
            "no_resonance",
            f"break-up: the peak at {hertz(peak.frequency)} stands out by {peak.prominence:.1f} "
            f"dB, less than the ripple of {clear.ripple_db:.1f} dB. Measure without reflections.",
        )
        return
    mode = None if impulse is None else _mode(impulse, peak, fit)
    heard.values["breakup_hz"] = peak.frequency
    if fit is not None and fit.carried:
        heard.values["breakup_hz"], heard.values["breakup_q"] = fit.frequency, fit.q
        carried = "the response (pole pair fitted around the peak)"
    if mode is not None:
        _compare(fit, mode, heard)
        heard.values["breakup_hz"], heard.values["breakup_q"] = mode.frequency, mode.q
        carried = "the decay of the band-passed impulse response"
    if _rings_into(clear, heard):
        return
    if heard.values["breakup_q"] is None:
        heard.notes.append("break-up is the frequency of the peak itself")
        why = "the record ends over 1 % of its peak; record longer or with less noise."
        heard.warn(
            "q_not_carried", f"break-up Q: {why if cut else _why_no_q(response, peak, fit)}"
        )
        return
    heard.notes.append(f"break-up carried by {carried}")


def _say_reflections(clear: reflection.Cleared, heard: Heard) -> None:
    """Warn of each reflection, and say what was done about it."""
    for one in clear.reflections[:_LISTED]:
        heard.warn(
            "reflection",
            f"break-up: the response ripples every {hertz(one.step_hz)} by {one.ripple_db:.1f} "
            f"dB, as from a reflection {1000 * one.delay:.3g} ms late (a detour of "
            f"{_SOUND * one.delay:.2g} m), which disturbs every metric. Gate the impulse response "
            "before it, or move the platform.",
        )
    if clear.response is None:
        heard.warn("no_resonance", "break-up: the ripple cannot be taken out of the response.")
    elif clear.reflections:
        heard.notes.append("break-up: the ripple of reflections was taken out before the search")


def _rings_into(clear: reflection.Cleared, heard: Heard) -> bool:
    """Give up the Q of a mode that a reflection disturbs even after its ripple was taken out."""
    frequency, q = heard.values["breakup_hz"], heard.values["breakup_q"]
    if frequency is None or q is None:
        return False
    if clear.soonest <= _RUNG * q / (math.pi * frequency):
        why = f"the mode still rings when a reflection arrives, {1000 * clear.soonest:.3g} ms late"
    elif not clear.resolved(frequency):
        why = "the points around the peak are too far apart to follow the ripple of a reflection"
    else:
        return False
    heard.values["breakup_q"] = None
    heard.warn("q_not_carried", f"break-up Q: {why}. Measure without reflections.")
    return True


def _ends_loud(impulse: Impulse) -> bool:
    """Tell whether the last eighth of a record, after its peak, is over 1 % of the peak."""
    h, _ = decays.without_offset(impulse)
    size = np.abs(h)
    start = int(np.argmax(size))
    end = size[start + 1 :][-max((size.size - start) // 8, 1) :]
    return end.size == 0 or float(np.max(end)) > _LOUD_END * float(size[start])


def _faded(impulse: Impulse, response: Response) -> Response:
    """Transform the faded record; its noise is that of the whole one.

    Noise at the end cannot be told from ringing there, but ringing fills few frequencies: what
    stands over the median of the noise is taken for it.
    """
    smooth = spectrum.response_of_impulse(spectrum.faded(impulse))
    if response.noise_db is None:
        return smooth
    at = np.geomspace(response.frequency[0], response.frequency[-1], 200)
    usual = float(np.median(np.interp(at, response.frequency, response.noise_db)))
    noise = np.interp(smooth.frequency, response.frequency, response.noise_db)
    noise = np.minimum(noise, usual)
    return Response(smooth.frequency, smooth.level, None, smooth.floor_hz, noise)


def _mode(
    impulse: Impulse, peak: resonance.Peak, fit: resonance.PolePair | None
) -> decays.ModeDecay | None:
    """Read the mode from its own decay, where that is straight."""
    at, q = peak.frequency, 6.0
    if fit is not None and fit.carried:
        at, q = fit.frequency, fit.q
    mode = decays.mode_decay(impulse, at, q)
    if mode is None or mode.rms_db > 1.5 or abs(math.log(mode.frequency / peak.frequency)) > 0.2:
        return None
    return mode


def _say_search(result: breakup.BreakUp, options: Options, heard: Heard) -> None:
    """Note where the search began and what was passed over."""
    how = "the low end of the band" if options.band is not None else "no band stated: assumed"
    heard.notes.append(
        f"break-up: lowest resonance above {hertz(result.start_hz)} ({how}) with a prominence of "
        f"{options.prominence_db:g} dB and a Q of at least {breakup.LEAST_Q:g}"
    )
    heard.notes += [
        f"break-up: the peak at {hertz(one.peak.frequency)} {one.why}; passed over"
        for one in result.passed[:_LISTED]
    ]
    if len(result.passed) > _LISTED:
        heard.notes.append(f"{len(result.passed) - _LISTED} more peaks passed over")
    if result.found is not None:
        peak = result.found.peak
        heard.notes.append(
            f"break-up: the peak at {hertz(peak.frequency)} (prominence {peak.prominence:.1f} dB)"
        )
        if options.band is not None and peak.frequency > options.band[1]:
            heard.warn("outside_band", "break-up: the lowest peak lies above the band stated.")


def _warn_no_break_up(result: breakup.BreakUp, options: Options, heard: Heard) -> None:
    if result.doubt is not None:
        at = hertz(result.doubt.peak.frequency)
        remedy = "Measure with a finer grid, or state a band that starts above it."
        if result.doubt.verdict == "unclear":
            remedy = "State a band that starts where the cone stops moving as a piston."
            if options.band is not None:
                remedy = "Measure without reflections and noise, or start the band above it."
        code = "coarse_grid" if result.doubt.verdict == "coarse" else "no_resonance"
        heard.warn(code, f"break-up: the peak at {at} {result.doubt.why}. {remedy}")
        return
    text = (
        f"break-up: no resonance with a prominence of {options.prominence_db:g} dB above "
        f"{hertz(result.start_hz)}"
    )
    if result.below is not None and options.band is None:
        text += (
            f"; one peak lies below, at {hertz(result.below.frequency)}. If that is the cone's, "
            "state a band that starts under it"
        )
    heard.warn("no_resonance", text + ".")


def _compare(fit: resonance.PolePair | None, mode: decays.ModeDecay, heard: Heard) -> None:
    if fit is not None and fit.carried and abs(math.log(fit.q / mode.q)) > _DISAGREE:
        heard.warn(
            "q_disagrees",
            f"break-up Q: the decay gives {mode.q:.3g}, the response {fit.q:.3g}; neighbouring "
            "modes or noise may disturb one of them.",
        )


def _why_no_q(response: Response, peak: resonance.Peak, fit: resonance.PolePair | None) -> str:
    f = response.frequency
    here = int(np.searchsorted(f, peak.frequency))
    step = float(f[min(here + 1, f.size - 1)] / f[max(here - 1, 0)]) ** 0.5 - 1
    if fit is None:
        at = hertz(peak.frequency)
        near = np.count_nonzero(np.abs(np.log(f / peak.frequency)) < math.log(G))
        if near >= _FITTED:
            return f"no pole pair follows the curve around the peak at {at}."
        return f"too few points around the peak at {at} ({100 * step:.1f} % apart)."
    if math.isinf(fit.sd_log_q):
        return (
            f"the points around {hertz(peak.frequency)} are {100 * step:.1f} % apart, wider than "
            "the peak between them; measure with a finer grid."
        )
    if not fit.described:
        return (
            f"the peak at {hertz(peak.frequency)} is not that of a single resonance (a fit leaves "
            f"{fit.rms_db:.1f} dB)."
        )
    return (
        f"the peak at {hertz(peak.frequency)} leaves it uncertain by {100 * fit.sd_log_q:.0f} %."
    )
