"""Reading WAV files, with clear refusals where the header and the data do not agree."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import soundfile

from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["MAX_SAMPLES", "Recording", "is_wav", "pick_channel", "read_wav"]

MAX_SAMPLES: Final = 60_000_000
"""Most samples, all channels together, that are read: ten minutes of stereo at 48 kHz."""

_STEPS: Final = {
    "PCM_U8": 2.0**-7, "PCM_S8": 2.0**-7, "PCM_16": 2.0**-15, "PCM_24": 2.0**-23,
    "PCM_32": 2.0**-31,
}  # fmt: skip
_UNKNOWN_SIZE: Final = 0xFFFFFFFF  # written by programs that cannot seek back


@dataclass(frozen=True)
class Recording:
    """The samples of a WAV file.

    Parameters
    ----------
    samples : ndarray, shape (frames, channels)
        Full scale is 1.
    rate : float
        Sampling rate, Hz.
    step : float or None
        Quantisation step; None for floating point.
    format : str
        Sample format in words.
    """

    samples: npt.NDArray[np.float64]
    rate: float
    step: float | None
    format: str


def is_wav(raw: bytes) -> bool:
    """Whether the bytes start like a RIFF or RF64 file."""
    return raw[:4] in (b"RIFF", b"RIFX", b"RF64")


def read_wav(raw: bytes, name: str) -> Recording:
    """Read a WAV file.

    Parameters
    ----------
    raw : bytes
        The file: 8, 16, 24 or 32-bit PCM or 32 or 64-bit floats, plain or extensible header.
    name : str
        Its name, for messages.

    Returns
    -------
    Recording
        All channels.

    Raises
    ------
    CurveError
        If the header is broken, the samples are cut short, or the format is not one of these.
    """
    _check_chunks(raw, name)
    try:
        with soundfile.SoundFile(io.BytesIO(raw)) as file:
            subtype, rate = file.subtype, float(file.samplerate)
            if subtype not in _STEPS and subtype not in ("FLOAT", "DOUBLE"):
                raise _broken(name, f"samples of the format {subtype}", "PCM or floating point")
            if file.frames * file.channels > MAX_SAMPLES:
                raise _broken(name, f"{file.frames} frames", f"at most {MAX_SAMPLES} samples")
            samples = file.read(dtype="float64", always_2d=True)
    except soundfile.LibsndfileError as error:
        raise _broken(name, f"a header that cannot be read ({error})", "a WAV file") from None
    if samples.shape[0] == 0:
        raise _broken(name, "no samples", "at least 16 samples")
    if not np.all(np.isfinite(samples)):
        row = int(np.flatnonzero(~np.isfinite(samples).all(axis=1))[0])
        raise _broken(name, f"a sample that is no number (frame {row})", "finite samples")
    return Recording(samples, rate, _STEPS.get(subtype), subtype.replace("_", " ").lower())


def _broken(name: str, found: str, expected: str) -> CurveError:
    return CurveError(Problem(name, found, expected, "Export the file again as WAV."))


def _check_chunks(raw: bytes, name: str) -> None:
    """Walk the chunks: the library would read a file that is cut short without a word."""
    order = ">" if raw[:4] == b"RIFX" else "<"
    if len(raw) < 12 or raw[8:12] != b"WAVE":
        raise _broken(name, "no WAVE mark after the RIFF mark", "a WAV file")
    place, seen = 12, False
    while place + 8 <= len(raw):
        kind = raw[place : place + 4]
        size = struct.unpack(order + "I", raw[place + 4 : place + 8])[0]
        if kind == b"fmt ":
            seen = True
            _check_format(raw[place + 8 : place + 8 + size], order, name)
        if kind == b"data":
            if not seen:
                raise _broken(name, "samples before any format chunk", "a format chunk first")
            left = len(raw) - place - 8
            if size > left and size != _UNKNOWN_SIZE:
                raise _broken(
                    name, f"{left} bytes of samples", f"{size} bytes as the header promises"
                )
            if size == 0 or left == 0:
                raise _broken(name, "an empty chunk of samples", "at least 16 samples")
            return
        place += 8 + size + size % 2
    raise _broken(name, "no format chunk" if not seen else "no chunk of samples", "a WAV file")


def _check_format(chunk: bytes, order: str, name: str) -> None:
    if len(chunk) < 16:
        raise _broken(name, f"a format chunk of {len(chunk)} bytes", "at least 16 bytes")
    _, channels, rate, _, block, bits = struct.unpack(order + "HHIIHH", chunk[:16])
    if not 1 <= channels <= 256 or rate == 0:
        raise _broken(name, f"{channels} channels at {rate} Hz", "at least one channel and a rate")
    if bits not in (8, 16, 24, 32, 64) or block != channels * bits // 8:
        raise _broken(
            name,
            f"{bits} bits a sample in blocks of {block} bytes for {channels} channels",
            "8, 16, 24, 32 or 64 bits and blocks that fit",
        )


def pick_channel(
    recording: Recording, channel: int | None, name: str
) -> tuple[npt.NDArray[np.float64], str | None]:
    """Take one channel.

    Parameters
    ----------
    recording : Recording
        All channels.
    channel : int or None
        Counted from 1; None only where there is no choice to make.
    name : str
        The file's name, for messages.

    Returns
    -------
    ndarray, shape (frames,)
        The samples.
    str or None
        A note about the choice.

    Raises
    ------
    CurveError
        If there are several channels that differ and none is named, or the one named is missing.
    """
    samples = recording.samples
    count = samples.shape[1]
    if channel is not None:
        if channel > count:
            last = "only channel 1" if count == 1 else f"channels 1 to {count}"
            raise CurveError(
                Problem(
                    name, f"{count} channel{'s' if count > 1 else ''}", f"a channel {channel}",
                    f"Name another one, or none (it has {last}), or record with that channel on.",
                )
            )  # fmt: skip
        return samples[
            :, channel - 1
        ].copy(), f"channel {channel} of {count}" if count > 1 else None
    if count == 1:
        return samples[:, 0].copy(), None
    if np.all(samples == samples[:, :1]):
        return samples[:, 0].copy(), f"the {count} channels are equal; the first was taken"
    loud = 20 * np.log10(np.maximum(np.max(np.abs(samples), axis=0), 1e-12))
    peaks = ", ".join(f"{i}: {level:.0f} dB" for i, level in enumerate(loud, start=1))
    raise CurveError(
        Problem(
            name,
            f"{count} channels that differ (peaks re full scale {peaks})",
            "one channel",
            "Say which: --channel 1.",
        )
    )
