from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from scipy.io import wavfile

from experiments.acoustics.wav import is_wav, pick_channel, read_wav
from experiments.errors import CurveError

STEPS = {"PCM_U8": 2**-7, "PCM_16": 2**-15, "PCM_24": 2**-23, "PCM_32": 2**-31}


def chunk(kind, body):
    return kind + struct.pack("<I", len(body)) + body + b"\x00" * (len(body) % 2)


def by_hand(samples16, *, extra=b"", rate=44100, channels=1, bits=16, size=None, tag=1):
    """A WAV file written chunk by chunk, without any library."""
    fmt = struct.pack(
        "<HHIIHH", tag, channels, rate, rate * channels * bits // 8, channels * bits // 8, bits
    )
    body = np.asarray(samples16, dtype="<i2").tobytes()
    data = b"data" + struct.pack("<I", len(body) if size is None else size) + body
    inner = b"WAVE" + chunk(b"fmt ", fmt) + extra + data
    return b"RIFF" + struct.pack("<I", len(inner)) + inner


@pytest.mark.parametrize("subtype", [*STEPS, "FLOAT", "DOUBLE"])
@pytest.mark.parametrize("format", ["WAV", "WAVEX"])
def test_formats(known, subtype, format):
    signal = 0.9 * known.mode(700.0, 9.0, seconds=0.05)
    found = read_wav(known.wav(signal, 44100, subtype, format), "a.wav")
    step = STEPS.get(subtype)
    assert found.step == step
    assert found.rate == 44100
    np.testing.assert_allclose(found.samples[:, 0], signal, atol=step or 1e-7)


@pytest.mark.parametrize("dtype", ["uint8", "int16", "int32", "float32", "float64"])
def test_files_written_by_scipy(dtype):
    rng = np.random.default_rng(0)
    signal = rng.uniform(-0.9, 0.9, 500)
    if dtype == "uint8":
        written = np.round(signal * 127 + 128).astype(dtype)
        expected = (written.astype(float) - 128) / 128
    elif dtype.startswith("int"):
        scale = np.iinfo(dtype).max
        written = np.round(signal * scale).astype(dtype)
        expected = written / (scale + 1.0)
    else:
        written = signal.astype(dtype)
        expected = written.astype(float)
    file = io.BytesIO()
    wavfile.write(file, 32000, written)
    found = read_wav(file.getvalue(), "a.wav")
    np.testing.assert_allclose(found.samples[:, 0], expected, atol=1e-12)
    assert found.rate == 32000


def test_odd_and_unknown_chunks():
    extra = chunk(b"LIST", b"INFOabc") + chunk(b"junk", b"x") + chunk(b"fact", b"\x04\0\0\0")
    found = read_wav(by_hand(np.arange(100), extra=extra), "a.wav")
    np.testing.assert_allclose(found.samples[:, 0], np.arange(100) / 32768)


def test_a_size_that_was_never_filled_in():
    raw = by_hand(np.arange(100), size=0xFFFFFFFF)
    assert read_wav(raw, "a.wav").samples.shape[0] >= 100


GOOD = by_hand(np.arange(100))
BROKEN = {
    "cut short": (GOOD[:-40], "promises"),
    "no samples": (by_hand([]), "empty"),
    "header only": (GOOD[:12], "no format chunk"),
    "no data chunk": (GOOD[:36], "no chunk of samples"),
    "no wave mark": (GOOD[:8] + b"AVI " + GOOD[12:], "WAVE"),
    "no channels": (by_hand(np.arange(100), channels=0), "0 channels"),
    "no rate": (by_hand(np.arange(100), rate=0), "0 Hz"),
    "odd bits": (by_hand(np.arange(100), bits=13), "13 bits"),
    "compressed": (by_hand(np.arange(100), tag=0x55), ""),
    "data before format": (
        b"RIFF\x00\x01\0\0WAVE" + chunk(b"data", b"\0" * 64), "before any format",
    ),
    "short format chunk": (b"RIFF\x00\x01\0\0WAVE" + chunk(b"fmt ", b"\0" * 6), "6 bytes"),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN)
def test_broken_files_are_refused(name):
    raw, words = BROKEN[name]
    assert is_wav(raw)
    with pytest.raises(CurveError) as caught:
        read_wav(raw, "cone.wav")
    assert "cone.wav" in str(caught.value)
    assert words in str(caught.value)


def test_not_a_number_is_refused(known):
    signal = np.zeros(100)
    signal[7] = np.nan
    with pytest.raises(CurveError, match="frame 7"):
        read_wav(known.wav(signal), "a.wav")


def test_channels(known):
    two = np.stack([np.linspace(0, 0.5, 100), np.linspace(0, -0.25, 100)], axis=1)
    recording = read_wav(known.wav(two), "a.wav")
    with pytest.raises(CurveError, match="--channel"):
        pick_channel(recording, None, "a.wav")
    with pytest.raises(CurveError, match="channel 3"):
        pick_channel(recording, 3, "a.wav")
    samples, note = pick_channel(recording, 2, "a.wav")
    np.testing.assert_allclose(samples, two[:, 1], atol=1e-7)
    assert "2 of 2" in note
    alike = read_wav(known.wav(np.stack([two[:, 0]] * 3, axis=1)), "a.wav")
    samples, note = pick_channel(alike, None, "a.wav")
    assert "equal" in note
    np.testing.assert_allclose(samples, two[:, 0], atol=1e-7)
