"""When each part of a sweep arrives, and what is wrong with a recording where it does not fit."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.fft import irfft, next_fast_len, rfft, rfftfreq

from experiments.acoustics.bands import G
from experiments.acoustics.clock import CLEAR, LARGEST, Clock
from experiments.acoustics.deconvolution import fade_outside
from experiments.acoustics.quality import Warning
from experiments.acoustics.stimulus import time_constant
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Sweep

__all__ = ["check_arrivals", "clock_warning", "find_arrival", "refuse_other_rate"]

_EARLY: Final = 0.005  # s by which the response may lead the sweep before it counts as cut off
_STANDS_OUT: Final = 7.0  # times the rms: noise alone reaches 5.5 in a minute
_DRIFT: Final = 0.01  # s over the whole sweep: the change of L that is tried


def find_arrival(h: npt.NDArray[np.float64], sweep: Sweep, rate: float, recorded: int) -> int:
    """Return the sample at which the linear response peaks; refuse what was cut off."""
    size = np.abs(h)
    place = int(np.argmax(size))
    if size[place] < _STANDS_OUT * math.sqrt(float(np.dot(h, h)) / h.size):
        raise CurveError(
            Problem(
                "recording",
                "no sweep in it: nothing stands out of the noise",
                f"the sweep {sweep.start_hz:g}:{sweep.stop_hz:g}:{sweep.seconds:g}",
                "Check the wiring, the channel and the settings of the sweep.",
            )
        )
    seconds = time_constant(sweep) * math.log(sweep.stop_hz / sweep.start_hz)
    # Far behind the last moment at which a whole sweep may start, it started too early instead.
    place = place - h.size if 2 * place > recorded - seconds * rate + h.size else place
    if place < -_EARLY * rate:
        raise CurveError(
            Problem(
                "recording",
                f"a response that starts {-place / rate:.3g} s before the recording",
                "the sweep from its start",
                "Start recording before the sweep is played.",
            )
        )
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


def check_arrivals(
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
        in_band = irfft(spectrum * fade_outside(f, (low * G**0.2, low * G**0.8)), part.size)
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


def clock_warning(clock: Clock, decay_doubt: float | None) -> Warning:
    """Say by how much the clocks differ, and what that leaves uncertain.

    Parameters
    ----------
    clock : Clock
        Of the recorder.
    decay_doubt : float or None
        By how many s the decay changes within what is known of the clock; None where it has to be
        left out.
    """
    doubt = (
        "the decay cannot be told to 5 %"
        if decay_doubt is None
        else f"the decay is uncertain by about {1000 * decay_doubt:.2g} ms"
    )
    faster = "fast" if clock.error > 0 else "slow"
    much = f"{1e6 * abs(clock.error):.0f} ppm {faster} against the player's"
    remedy = "Play and record with one device, or record the stimulus beside the response."
    if clock.smear < CLEAR:
        text = (
            f"low and high frequencies arrive {1000 * clock.smear:.2g} ms apart: the recorder's "
            f"clock may run {much}, or a crossover may do it. Nothing was undone; {doubt}. "
            f"{remedy}"
        )
        return Warning("clock_differs", text)
    text = (
        f"the recorder's clock runs {much}, known to about {1e6 * clock.doubt:.0f} ppm; the sweep "
        f"was stretched to match, and {doubt}. {remedy}"
    )
    return Warning("clock_differs", text)


def refuse_other_rate(
    h: npt.NDArray[np.float64], arrival: int, sweep: Sweep, rate: float, clock: Clock
) -> None:
    """Refuse a sweep of nearly the stated settings: a slightly other L then fits better."""
    octaves = math.log(sweep.stop_hz / sweep.start_hz)
    length = time_constant(sweep)
    step = _DRIFT / (length * octaves)
    sure = abs(clock.error) > LARGEST and clock.smear >= CLEAR
    better = clock.error if sure else 0.0
    for share in () if better else (step, -step):
        if _sharpened(h, arrival, share * length, sweep.start_hz, rate) > 1.1:
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


def _sharpened(
    h: npt.NDArray[np.float64], arrival: int, longer: float, start_hz: float, rate: float
) -> float:
    """Return how many times higher the peak would be had the sweep an L longer by some s.

    Frequencies f then arrive `longer` ln(f/f1) earlier, which is a matter of phase.
    """
    half = round(5 * _DRIFT * rate)
    part = h[np.arange(arrival - half, arrival + half) % h.size]
    n = next_fast_len(part.size, real=True)
    f = rfftfreq(n, 1 / rate)
    phase = 2 * np.pi * f * longer * (np.log(np.maximum(f, f[1]) / start_hz) - 1)
    tried = irfft(rfft(part, n) * np.exp(1j * phase), n)
    return float(np.max(np.abs(tried)) / np.max(np.abs(part)))
