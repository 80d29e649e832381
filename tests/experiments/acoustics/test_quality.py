from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics.quality import CODES, Warning, clipping, drop_outs, low_level

T = np.arange(48000) / 48000
STEP16 = 2.0**-15


def quantised(signal, step=STEP16):
    return np.round(signal / step) * step


def test_unknown_codes_are_refused():
    with pytest.raises(ValueError, match="unknown warning code"):
        Warning("nonsense", "text")
    assert all(text for text in CODES.values())


@pytest.mark.parametrize(
    ("drive", "frequency"),
    [(1.05, 50.0), (1.2, 50.0), (3.0, 50.0), (1.05, 997.0), (1.2, 997.0), (3.0, 6000.0)],
)
def test_clipped_sines_are_found(drive, frequency):
    """At least three samples of a crest must be flat; eight a period show only hard clipping."""
    clipped = np.clip(drive * np.sin(2 * np.pi * frequency * T), -1, 1 - STEP16)
    assert clipping(quantised(clipped), STEP16).code == "clipping"
    assert clipping(0.6 * clipped, None).code == "clipping"


@pytest.mark.parametrize("height", [1.0, 0.99, 0.3, 0.01])
@pytest.mark.parametrize("frequency", [1.0, 20.0, 50.0, 997.0, 6000.0])
def test_clean_sines_are_not(height, frequency):
    """A slow crest keeps many samples within one step; that is no clipping."""
    clean = height * np.sin(2 * np.pi * frequency * T)
    assert clipping(quantised(clean), STEP16) is None
    assert clipping(clean, None) is None


def test_pulses_steps_and_silence_are_not():
    pulse = np.zeros(1000)
    pulse[50] = 1.0
    assert clipping(pulse, STEP16) is None
    assert clipping(np.zeros(1000), STEP16) is None


def test_clipping_on_one_side_only():
    signal = np.minimum(np.sin(2 * np.pi * 440 * T), 0.8)
    assert clipping(signal, None) is not None


@pytest.mark.parametrize(("steps", "found"), [(50, True), (150, True), (500, False)])
def test_low_level(steps, found):
    signal = quantised(steps * STEP16 * np.sin(2 * np.pi * 440 * T))
    assert (low_level(signal, STEP16) is not None) == found
    assert low_level(signal, None) is None


def test_drop_outs():
    signal = np.sin(2 * np.pi * 440 * T)
    assert drop_outs(signal, 48000) is None
    broken = signal.copy()
    broken[10_000:10_200] = 0.0
    assert drop_outs(broken, 48000).code == "drop_outs"
    padded = np.concatenate((np.zeros(2000), signal, np.zeros(2000)))
    assert drop_outs(padded, 48000) is None
