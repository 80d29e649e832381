"""Warnings with stable codes, and the checks of raw samples that raise them."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

__all__ = ["CODES", "Warning", "clipping", "drop_outs", "low_level", "sample_warnings"]

CODES: Final[Mapping[str, str]] = MappingProxyType(
    {
        "band_not_covered": "the data do not reach the ends of the stated band",
        "beyond_measured_range": "a range limit is not reached inside the data",
        "limit_at_edge": "the data end just after a range limit",
        "outside_band": "what was found lies outside the band stated",
        "no_resonance": "no resonance with the stated prominence",
        "q_not_carried": "a resonance was found, but its Q cannot be told from these data",
        "reflection": "the response ripples as from a reflection",
        "q_disagrees": "the decay and the response give different Q",
        "gap": "points are missing in the middle of the data",
        "coarse_grid": "the frequency grid is too coarse for what is asked",
        "gate_too_short": "the impulse response is too short for low frequencies",
        "noise_floor": "the noise comes too near to what is asked",
        "decay_not_finished": "the impulse response ends before it has decayed",
        "dc_offset": "a constant offset was found",
        "silent": "the signal is zero throughout",
        "clipping": "the samples look clipped",
        "low_level": "the recording is so low that quantisation shows",
        "drop_outs": "the recording lost samples, repeats some, or has gaps",
        "disturbance": "a short noise from outside during a sweep",
        "no_distortion": "the file carries no usable distortion values",
        "missing_harmonic": "the file lacks this harmonic",
        "peak_at_edge": "the THD peak lies at an end of the band or of the data",
        "thd_implausible": "a THD that is below one of its harmonics, or over 100 %",
        "beyond_bandwidth": "harmonics lie beyond the bandwidth of the measurement",
        "over_full_scale": "the sensitivity stated lies over full scale",
        "unit_assumed": "a unit was not stated and had to be assumed",
        "duplicates_differ": "rows of one frequency carry different values",
        "clock_differs": "the recorder's clock differs from the player's",
        "short_sweep": "the sweep is too short for its lowest frequencies",
    }
)
"""Every warning code and what it stands for. Codes are stable; texts may change."""


_CRESTS: Final = 16  # samples at the extreme from which they may be clipped crests
_DISTANCES: Final = 5  # different ones between them at least
_CROWDED: Final = 4.0  # times as many at the extreme as within 0.1 % below it
_LOOKED_AT: Final = 100_000  # samples from which a text's rounding is told


@dataclass(frozen=True)
class Warning:
    """Something that the reader of a metric must know.

    Parameters
    ----------
    code : str
        One of `CODES`.
    text : str
        One plain sentence.
    """

    code: str
    text: str

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ValueError(f"unknown warning code {self.code!r}")


def _longest_run(mask: npt.NDArray[np.bool_]) -> int:
    """Length of the longest run of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], mask, [False])).astype(np.int8)))
    return int(np.max(edges[1::2] - edges[::2])) if edges.size else 0


def clipping(samples: npt.NDArray[np.float64], step: float | None = None) -> Warning | None:
    """Find runs of equal samples at the extreme of the signal.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Samples; full scale is 1.
    step : float, optional
        Quantisation step of the file's format, if any.

    Returns
    -------
    Warning or None
        A flat top of at least three samples at either extreme, within one step; or many crests
        at exactly the extreme and few just below it.

    Notes
    -----
    Common practice, no source. A slow sine keeps a few samples within one step of its crest
    when the format is coarse, so the run must also be longer than a sine of the same local
    curvature would keep: the samples on both sides must leave the crest by more than one step.
    """
    peak = float(np.max(np.abs(samples), initial=0.0))
    if peak == 0.0 or samples.size < 8:
        return None
    slack = step if step is not None else peak * 1e-6
    for sign in (1.0, -1.0):
        top = float(np.max(sign * samples))
        if top < 0.5 * peak:
            continue
        flat = sign * samples >= top - 0.5 * slack
        run = _longest_run(flat)
        if run < 3:
            if _many_at(sign * samples, flat, top, slack):
                return Warning(
                    "clipping",
                    f"{np.count_nonzero(flat)} samples stand at exactly the extreme "
                    f"{sign * top:+.4g}: the recording is clipped; lower the gain and measure "
                    "again.",
                )
            continue
        if step is None:
            slack = max(slack, _printed_step(samples))
        if _leaves_sharply(sign * samples, flat, top, slack):
            return Warning(
                "clipping",
                f"{run} samples in a row stand at the extreme {sign * top:+.4g}: the recording "
                "is clipped; lower the gain and measure again.",
            )
    return None


def _many_at(
    signal: npt.NDArray[np.float64], flat: npt.NDArray[np.bool_], top: float, slack: float
) -> bool:
    """Tell clipped crests of high tones, of which one or two samples each stand at the extreme.

    A tone of one level reaches its extreme again and again too. But either it comes near it as
    often, while a clipped wave passes that stretch at a slope; or it is locked to the rate, and
    its crests stand at equal distances.
    """
    places = np.flatnonzero(flat)
    if places.size < _CRESTS or np.unique(np.diff(places)).size < _DISTANCES:
        return False
    below = np.count_nonzero((signal >= top - max(1.5 * slack, 1e-3 * top)) & ~flat)
    return bool(places.size > _CROWDED * below)


def _printed_step(samples: npt.NDArray[np.float64]) -> float:
    """Return the least difference between samples, to which a text may have rounded them."""
    steps = np.diff(np.unique(samples[:_LOOKED_AT]))
    return float(np.min(steps)) if steps.size else 0.0


def _leaves_sharply(
    signal: npt.NDArray[np.float64], flat: npt.NDArray[np.bool_], top: float, slack: float
) -> bool:
    """Tell a flat top from a slow crest: a clipped wave leaves the top at a slope."""
    edges = np.diff(np.concatenate(([False], flat, [False])).astype(np.int8))
    starts, stops = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    lengths = stops - starts
    for start, stop in zip(starts[lengths >= 3], stops[lengths >= 3], strict=True):
        beside = [signal[i] for i in (start - 1, stop) if 0 <= i < signal.size]
        # A parabola that stays within `slack` for n samples drops by about 4 slack / n a sample.
        if beside and top - min(beside) > max(4.0 * slack, 1e-4 * top):
            return True
    return False


def low_level(samples: npt.NDArray[np.float64], step: float | None) -> Warning | None:
    """Warn if the peak spans so few quantisation steps that 5 % of it is a handful of them.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Samples; full scale is 1.
    step : float or None
        Quantisation step of the format; None for floating point.

    Returns
    -------
    Warning or None
        If the peak is under 200 steps (46 dB of range).
    """
    peak = float(np.max(np.abs(samples), initial=0.0))
    if step is None or peak == 0.0 or peak >= 200 * step:
        return None
    return Warning(
        "low_level",
        f"the peak is only {peak / step:.0f} quantisation steps high "
        f"({20 * np.log10(peak):.0f} dB re full scale); raise the gain and measure again.",
    )


def drop_outs(
    samples: npt.NDArray[np.float64], rate: float, step: float | None = None
) -> Warning | None:
    """Find gaps of exact zeros, or of one value that was held, inside a loud signal.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Samples.
    rate : float
        Sampling rate, Hz.
    step : float, optional
        Quantisation step of the file's format, if any. Near silence it holds samples too.

    Returns
    -------
    Warning or None
        For at least 16 equal samples (or 1 ms) that no slow signal would give: where they are
        zeros more than 5 % of the peak stands at both sides, elsewhere the signal moves at both
        sides or leaps. What stands at the extreme is `clipping`'s matter.
    """
    peak = float(np.max(np.abs(samples), initial=0.0))
    same = np.concatenate(([False], samples[1:] == samples[:-1], [False]))
    edges = np.flatnonzero(same[1:] != same[:-1])
    starts, stops = edges[::2], edges[1::2] + 1
    long = (stops - starts) >= max(16, int(rate * 1e-3))
    least = max(0.05 * peak, 8 * (step or 0.0))
    for start, stop in zip(starts[long], stops[long], strict=True):
        if start == 0 or stop == samples.size:
            continue
        value = float(samples[start])
        if value == 0.0:
            before = np.max(np.abs(samples[max(0, start - 4) : start]))
            after = np.max(np.abs(samples[stop : stop + 4]))
            found, what = min(before, after) > least, "are exactly zero"
        else:
            found, what = _is_held(samples, start, stop, step or 0.0), "hold one value"
        if found:
            return Warning(
                "drop_outs",
                f"{stop - start} samples {what} from {start / rate:.4f} s on while the "
                "signal is loud on both sides; the recording lost data, measure again.",
            )
    return None


def _is_held(samples: npt.NDArray[np.float64], start: int, stop: int, step: float) -> bool:
    """Tell a value that was held from a slow crest: the signal moves at both sides or leaps."""
    low, high = float(np.min(samples)), float(np.max(samples))
    peak = max(high, -low)
    if not 0.999 * low < samples[start] < 0.999 * high:
        return False
    leap = max(abs(samples[stop] - samples[start]), abs(samples[start] - samples[start - 1]))
    sides = samples[max(0, start - 16) : start], samples[stop : stop + 16]
    if min(side.size for side in sides) < 2:
        return False
    usual = min(float(np.median(np.abs(np.diff(side)))) for side in sides)
    moves = usual > max(2e-3 * peak, 8 * step)
    return moves or bool(leap > max(0.01 * peak, 8 * step, 4 * usual))


def sample_warnings(
    samples: npt.NDArray[np.float64], rate: float, step: float | None
) -> list[Warning]:
    """Run every check of raw samples.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        Samples; full scale is 1 where the file has one.
    rate : float
        Sampling rate, Hz.
    step : float or None
        Quantisation step of the format, None for floating point or text.

    Returns
    -------
    list of Warning
        What was found, in order of weight.
    """
    found = (clipping(samples, step), low_level(samples, step), drop_outs(samples, rate, step))
    return [item for item in found if item is not None]
