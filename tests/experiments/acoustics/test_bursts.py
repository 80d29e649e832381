"""Noises from outside during a sweep."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics import Options, listen
from experiments.acoustics.bursts import find_burst
from experiments.acoustics.options import Sweep
from experiments.acoustics.sweep import SPOILT_BY_NOISE
from tests.experiments.acoustics.recordings import RATE, recorded

SWEEP = Sweep(20, 20000, 10, "exponential")
START = round(0.05 * RATE)


def quiet(noise=1e-4, **more):
    y, _, _ = recorded(SWEEP, noise=noise, **more)
    return y


def with_door(y, at, seconds=0.1, height=0.05):
    place, count = round(at * RATE), round(seconds * RATE)
    y[place : place + count] += height * np.random.default_rng(1).standard_normal(count)
    return y


@pytest.mark.parametrize("at", [4.8, 6.0, 7.5])
@pytest.mark.parametrize("seconds", [0.05, 0.1, 0.5])
def test_a_door_is_found(at, seconds):
    found = find_burst(with_door(quiet(), at, seconds), START, SWEEP, RATE)
    assert found.start == pytest.approx(at, abs=0.05)
    assert found.stop == pytest.approx(at + seconds, abs=0.05)
    assert found.low_hz == pytest.approx(20 * 1000 ** ((at - 0.05) / 10), rel=0.05)
    assert found.over_db > 20


@pytest.mark.parametrize("noise", [0.0, 1e-5, 1e-4, 1e-3, 1e-2])
def test_steady_noise_and_harmonics_are_none(noise):
    assert find_burst(quiet(noise, b=0.2, c=0.1), START, SWEEP, RATE) is None


def test_hum_is_none():
    y = quiet()
    y += 0.02 * np.sin(2 * np.pi * 50 * np.arange(y.size) / RATE)
    assert find_burst(y, START, SWEEP, RATE) is None


def test_a_crackle_spoils_nothing():
    y = quiet()
    y[6 * RATE] += 0.5
    assert find_burst(y, START, SWEEP, RATE) is None


def test_a_rooms_reverberation_is_none():
    rng = np.random.default_rng(0)
    t = np.arange(RATE) / RATE
    tail = 0.02 * rng.standard_normal(RATE) * np.exp(-6.9 * t / 0.8)
    tail[0] = 1.0
    y = quiet()
    n = y.size + tail.size
    echoed = np.fft.irfft(np.fft.rfft(y, n) * np.fft.rfft(tail, n), n)[: y.size]
    assert find_burst(echoed, START, SWEEP, RATE) is None


def test_what_it_spoils_is_left_out(known):
    """It adds tens of percent to the distortion of what is played meanwhile."""
    options = Options(sweep=SWEEP)
    clean = listen(known.wav(quiet()), options=options).metrics
    heard = listen(known.wav(with_door(quiet(), 6.0)), options=options)
    assert "6.0 s into the recording" in " ".join(item.text for item in heard.warnings)
    assert {heard.metrics[name].value for name in SPOILT_BY_NOISE} == {None}
    for name in ("level_db", "decay_ms"):
        assert heard.metrics[name].value == pytest.approx(clean[name].value, rel=0.05, abs=0.1)
