"""Absolute levels: microphone sensitivity, a calibrator's recording, and stated conditions.

The one number that makes a recording absolute is what a tone of 94 dB SPL reads in it: the level
of its peak in dB re a full-scale sine (so a sine that just fills the format reads 0 dBFS; the
convention of AES17, from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics.quality import clipping
from experiments.acoustics.wav import pick_channel, read_wav
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.curves import Response
    from experiments.acoustics.options import Options

__all__ = [
    "CONDITIONS",
    "DISTANCE_M",
    "DRIVE_VOLTS",
    "USUAL_DB",
    "Tone",
    "absolute",
    "calibrator_tone",
    "condition_db",
    "sensitivity_from_recording",
    "sensitivity_from_volts",
    "stated",
    "unused",
]

CONDITIONS: Final = {
    "sensitivity_dbfs": "sensitivity",
    "drive_volts": "drive",
    "distance_m": "distance",
}
"""Options about absolute levels, in words."""

DRIVE_VOLTS: Final = 2.83
"""Voltage that levels are stated for: 1 W into 8 ohms, rounded (common practice, no source)."""

DISTANCE_M: Final = 1.0
"""Distance that levels are stated for (IEC 60268-5, from memory)."""

USUAL_DB: Final = 94.0
"""Level of most calibrators, dB SPL (IEC 60942, from memory)."""

_LOUDEST: Final = 140.0
_PASCAL_94: Final = 20e-6 * 10 ** (94 / 20)  # 1.0024 Pa: 1 Pa itself is 93.98 dB
_TONES: Final = (250.0, 1000.0)  # Hz that sound calibrators give (IEC 60942, from memory)
_OFF_TUNE: Final = 0.02
_BLOCK: Final = 0.1  # s
_STEADY: Final = 0.3  # dB within which the tone stays
_SHORTEST: Final = 1.0  # s of steady tone
_SECOND: Final = 0.5  # s from which another steady level counts
_APART: Final = 1.0  # dB
_PURITY: Final = 20.0  # dB that the tone stands over everything else


@dataclass(frozen=True)
class Tone:
    """The tone of a sound calibrator in a recording.

    Parameters
    ----------
    frequency : float
        Hz.
    level_dbfs : float
        Level, dB re a full-scale sine.
    spread_db : float
        Largest minus smallest level of its blocks of 0.1 s, dB.
    seconds : float
        For how long it is steady.
    """

    frequency: float
    level_dbfs: float
    spread_db: float
    seconds: float

    def sensitivity(self, spl_db: float) -> float:
        """Return what 94 dB SPL would read, given the calibrator's own level, dBFS."""
        return self.level_dbfs - (spl_db - 94.0)


def sensitivity_from_volts(mv_per_pa: float, full_scale_volts: float) -> float:
    """Compute what 94 dB SPL reads from the microphone's and the recorder's data.

    Parameters
    ----------
    mv_per_pa : float
        Sensitivity of the microphone with its amplifier, mV/Pa (rms for rms).
    full_scale_volts : float
        Peak voltage that fills the recorder's format.

    Returns
    -------
    float
        dB re a full-scale sine.

    Raises
    ------
    CurveError
        If one of them is not positive.
    """
    for name, value in (("mV/Pa", mv_per_pa), ("full-scale volts", full_scale_volts)):
        if not (value > 0 and math.isfinite(value)):
            raise CurveError(Problem(f"sensitivity: {name}", f"{value:g}", "a positive number"))
    peak = mv_per_pa / 1000 * _PASCAL_94 * math.sqrt(2)
    return 20 * math.log10(peak / full_scale_volts)


def sensitivity_from_recording(
    content: bytes, name: str, *, spl_db: float = USUAL_DB, channel: int | None = None
) -> tuple[float, str]:
    """Find out what 94 dB SPL reads from the recording of a sound calibrator.

    Parameters
    ----------
    content : bytes
        A WAV file.
    name : str
        For messages.
    spl_db : float
        The calibrator's own level.
    channel : int, optional
        Passed over where the recording has fewer channels.

    Returns
    -------
    float
        dB re a full-scale sine.
    str
        What the recording gave, to be told.

    Raises
    ------
    CurveError
        If the level cannot be a calibrator's, or the recording holds no tone of one.
    """
    if not 0 < spl_db <= _LOUDEST:
        found = f"{spl_db:g} dB"
        raise CurveError(Problem("calibrator", found, "its level such as 94 or 114"))
    recording = read_wav(content, name)
    only = channel if channel is not None and channel <= recording.samples.shape[1] else None
    samples, _ = pick_channel(recording, only, name)
    tone = calibrator_tone(samples, recording.rate, name)
    value = tone.sensitivity(spl_db)
    told = (
        f"{name}: {tone.frequency:.1f} Hz, taken as {spl_db:g} dB, reads {tone.level_dbfs:.2f} "
        f"dBFS (steady within {tone.spread_db:.2f} dB for {tone.seconds:.1f} s); 94 dB SPL would "
        f"read {value:.2f} dBFS"
    )
    return value, told


def calibrator_tone(samples: npt.NDArray[np.float64], rate: float, name: str) -> Tone:
    """Find the steady tone of a sound calibrator in a recording.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The recording, full scale 1. Handling before and after the tone is passed over.
    rate : float
        Sampling rate, Hz.
    name : str
        For messages.

    Returns
    -------
    Tone
        From the longest stretch in which blocks of 0.1 s agree within 0.3 dB.

    Raises
    ------
    CurveError
        If there is no steady, clean tone near 250 Hz or 1 kHz for a second, it is clipped, or it
        has two levels.
    """
    size = round(_BLOCK * rate)
    count = samples.size // size
    if count * _BLOCK < _SHORTEST:
        raise _no_tone(name, f"{samples.size / rate:.2g} s", "at least 1 s of a calibrator's tone")
    blocks = samples[: count * size].reshape(count, size)
    middle = blocks[np.argsort(np.sum(blocks**2, axis=1))[count // 2 :]]
    frequency = _frequency(middle[0], rate)
    nearest = min(_TONES, key=lambda tone: abs(math.log(frequency / tone)))
    if abs(frequency / nearest - 1) > _OFF_TUNE:
        found = f"a signal strongest at {frequency:.4g} Hz" if np.any(middle[0]) else "silence"
        raise _no_tone(name, found, "a calibrator's 250 Hz or 1 kHz")
    level, purity = _levels(blocks, frequency, rate)
    start, stop = _steadiest(level)
    if (stop - start) * _BLOCK < _SHORTEST - 1e-9:
        raise _no_tone(
            name, f"a tone that is steady for {(stop - start) * _BLOCK:.1f} s", "a steady second"
        )
    part = slice(start, stop)
    if np.median(purity[part]) < _PURITY:
        found = f"a tone only {np.median(purity[part]):.0f} dB over noise and distortion"
        raise _no_tone(name, found, "a tone that stands 20 dB over them")
    other = _other_level(level, purity, part)
    if other is not None:
        found = f"two steady levels, {np.mean(level[part]):.1f} and {other:.1f} dBFS"
        remedy = "Cut the recording to the calibrator's tone, or record again at one gain."
        raise _no_tone(name, found, "one", remedy)
    if clipping(blocks[part].ravel()) is not None:
        raise _no_tone(name, "a clipped tone", "one within full scale", "Lower the gain.")
    value = 10 * math.log10(float(np.mean(10 ** (level[part] / 10))))
    return Tone(frequency, value, float(np.ptp(level[part])), (stop - start) * _BLOCK)


def _no_tone(name: str, found: str, expected: str, remedy: str = "") -> CurveError:
    return CurveError(
        Problem(name, found, expected, remedy or "Seat the calibrator and record again.")
    )


def _frequency(block: npt.NDArray[np.float64], rate: float) -> float:
    """Frequency of the strongest tone: parabola over the logarithm of a Hann spectrum."""
    n = 8 * block.size
    size = np.abs(np.fft.rfft(block * np.hanning(block.size), n))
    place = min(max(int(np.argmax(size[8:])) + 8, 1), size.size - 2)
    if size[place] <= 0:
        return 1e-9
    low, mid, high = np.log(np.maximum(size[place - 1 : place + 2], 1e-300))
    curve = low - 2 * mid + high
    return float((place + (0.5 * (low - high) / curve if curve else 0.0)) * rate / n)


def _levels(
    blocks: npt.NDArray[np.float64], frequency: float, rate: float
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Fit a sine and a constant to each block: its level (dBFS), and over what is left (dB)."""
    t = 2 * np.pi * frequency * np.arange(blocks.shape[1]) / rate
    basis = np.stack([np.sin(t), np.cos(t), np.ones(t.size)], axis=1)
    parts, *_ = np.linalg.lstsq(basis, blocks.T, rcond=None)
    rest = np.mean((blocks.T - basis @ parts) ** 2, axis=0)
    power = np.maximum(parts[0] ** 2 + parts[1] ** 2, 1e-30)
    return 10 * np.log10(power), 10 * np.log10(power / 2 / np.maximum(rest, 1e-30))


def _steadiest(level: npt.NDArray[np.float64]) -> tuple[int, int]:
    """Longest run of blocks within `_STEADY` dB, the louder one of two."""
    best, start = (0, 0), 0
    for stop in range(1, level.size + 1):
        while np.ptp(level[start:stop]) > _STEADY:
            start += 1
        if stop - start > best[1] - best[0]:
            best = (start, stop)
    return best


def _other_level(
    level: npt.NDArray[np.float64], purity: npt.NDArray[np.float64], part: slice
) -> float | None:
    """Find a second clean tone of at least half a second at another level, before or after."""
    for start, stop in ((0, part.start), (part.stop, level.size)):
        rest = level[start:stop]
        if rest.size == 0:
            continue
        first, last = _steadiest(rest)
        long = (last - first) * _BLOCK >= _SECOND - 1e-9
        clean = np.median(purity[start + first : start + last]) >= _PURITY
        value = float(np.mean(rest[first:last]))
        if long and clean and abs(value - float(np.mean(level[part]))) > _APART:
            return value
    return None


def condition_db(options: Options) -> tuple[float, list[str]]:
    """Compute what brings levels to 2.83 V and 1 m.

    Parameters
    ----------
    options : Options
        `drive_volts` and `distance_m`, either or both.

    Returns
    -------
    float
        dB to add: 20 lg(2.83 / V) + 20 lg(d / 1 m).
    list of str
        What was assumed.
    """
    shift, notes = 0.0, []
    if options.drive_volts is not None:
        part = 20 * math.log10(DRIVE_VOLTS / options.drive_volts)
        shift += part
        notes.append(
            f"levels are stated for {DRIVE_VOLTS:g} V: {part:+.2f} dB from the "
            f"{options.drive_volts:g} V that drove it, taken as linear"
        )
    if options.distance_m is not None:
        part = 20 * math.log10(options.distance_m / DISTANCE_M)
        shift += part
        notes.append(
            f"levels are stated for {DISTANCE_M:g} m: {part:+.2f} dB from "
            f"{options.distance_m:g} m (free and far field; not so near the cone or in a room)"
        )
    return shift, notes


def stated(response: Response, options: Options) -> tuple[Response, list[str]]:
    """State a response that is a sound pressure level for 2.83 V and 1 m.

    Parameters
    ----------
    response : Response
        As measured.
    options : Options
        `drive_volts` and `distance_m`; without them nothing changes.

    Returns
    -------
    Response
        The same curve, shifted.
    list of str
        What was assumed.
    """
    shift, notes = condition_db(options)
    return _shifted(response, shift), [*notes, *unused(options, "sensitivity_dbfs")]


def unused(options: Options, *names: str) -> list[str]:
    """Say which of the options about levels were given and mean nothing for a file."""
    given = [CONDITIONS[name] for name in names if getattr(options, name) is not None]
    return [f"not used for this kind of file: {', '.join(given)}"] if given else []


def absolute(response: Response, stimulus: float, options: Options) -> tuple[Response, list[str]]:
    """Turn the response from a sweep recording into sound pressure levels.

    Parameters
    ----------
    response : Response
        dB re the stimulus.
    stimulus : float
        Peak of the stimulus that it relates to, in the recording's unit.
    options : Options
        With a `sensitivity_dbfs`; without one, levels stay relative.

    Returns
    -------
    Response
        dB re 20 µPa: rms of the sine, at the drive used or at 2.83 V, at the microphone or 1 m.
    list of str
        What was assumed.
    """
    if options.sensitivity_dbfs is None:
        given = (options.drive_volts, options.distance_m) != (None, None)
        words = "drive and distance were not used: the microphone's sensitivity is not known"
        return response, [words] if given else []
    shift, notes = condition_db(options)
    shift += 94.0 - options.sensitivity_dbfs + 20 * math.log10(stimulus)
    head = f"levels are dB re 20 µPa; 94 dB SPL reads {options.sensitivity_dbfs:.2f} dBFS"
    return _shifted(response, shift), [head, *notes]


def _shifted(response: Response, shift: float) -> Response:
    if shift == 0.0:
        return response
    noise = response.noise_db
    return replace(
        response,
        level=response.level + shift,
        noise_db=None if noise is None else noise + shift,
    )
