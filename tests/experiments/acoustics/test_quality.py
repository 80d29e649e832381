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


def swept(rate=48000, seconds=2.0):
    """Return an exponential sweep with a peak at 5 kHz: x(t) = a(f) sin(phase)."""
    t = np.arange(int(seconds * rate)) / rate
    length = seconds / np.log(1000)
    f = 20 * np.exp(t / length)
    return np.sin(2 * np.pi * 20 * length * np.expm1(t / length)) / np.hypot(1, (f - 5000) / 900)


def test_clipped_crests_of_a_high_mode_are_found():
    """Ten samples a period: the clipped crests keep one or two of them, never three."""
    clean = swept()
    assert clipping(quantised(clean), STEP16) is None
    clipped = np.clip(1.08 * clean, -1, 1 - STEP16)
    top = np.isclose(clipped, clipped.max(), atol=1e-9)
    assert not np.any(top[2:] & top[1:-1] & top[:-2])
    assert "extreme" in clipping(quantised(clipped), STEP16).text


@pytest.mark.parametrize("frequency", [1000.0, 4000.0, 8000.0, 12000.0])
@pytest.mark.parametrize("phase", [0.0, 0.3, np.pi / 4])
@pytest.mark.parametrize("count", [100, 48000])
def test_sines_locked_to_the_rate_are_not_clipped(frequency, phase, count):
    """They reach full scale once or twice a period, thousands of times."""
    sine = (1 - STEP16) * np.sin(2 * np.pi * frequency * T[:count] + phase)
    assert clipping(quantised(sine), STEP16) is None


def test_a_value_that_is_held_is_a_drop_out():
    signal = 0.5 * np.sin(2 * np.pi * 440 * T)
    held = signal.copy()
    held[10_000:10_064] = held[9_999]
    assert "65 samples hold one value from 0.2083 s" in drop_outs(held, 48000).text


@pytest.mark.parametrize("frequency", [1.0, 20.0, 50.0, 440.0])
@pytest.mark.parametrize("height", [12 * STEP16, 0.01, 0.3, 1.0])
def test_slow_crests_of_coarse_samples_are_no_drop_outs(frequency, height):
    """A sine stays for many samples within one step of its crest, and of nought."""
    signal = quantised(height * np.sin(2 * np.pi * frequency * T))
    assert drop_outs(signal, 48000, STEP16) is None


def test_quantised_silence_between_steps_is_no_drop_out():
    """What is under half a step is written as nought; single steps stand between."""
    rng = np.random.default_rng(0)
    quiet = quantised(0.16 * STEP16 * rng.standard_normal(48000))
    loud = quantised(11 * STEP16 * np.sin(2 * np.pi * 440 * T))
    assert np.any(quiet)
    assert drop_outs(np.concatenate((quiet, loud, quiet)), 48000, STEP16) is None
