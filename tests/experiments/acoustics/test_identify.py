"""A sweep found from its samples: pyfar's sweeps, whose settings are known."""

from __future__ import annotations

import numpy as np
import pyfar
import pytest

from experiments.acoustics.identify import identify
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate, time_constant
from experiments.errors import CurveError

RATE = 48000


@pytest.mark.parametrize(
    ("low", "high", "seconds", "rate"),
    [(20, 20000, 5, 48000), (50, 16000, 2, 44100), (100, 5000, 1, 48000), (10, 40000, 3, 96000)],
)
def test_pyfars_sweeps_are_found(low, high, seconds, rate):
    """With pyfar's own fade at the end, silence around and 24 bits."""
    theirs = pyfar.signals.exponential_sweep_time(
        seconds * rate, (low, high), amplitude=0.3, sampling_rate=rate
    )
    x = np.concatenate((np.zeros(5000), theirs.time[0], np.zeros(9000)))
    found = identify(np.round(x * 2**23) / 2**23, rate, "x.wav")
    assert found.start_hz == pytest.approx(low, rel=1e-5)
    assert found.stop_hz == pytest.approx(high, rel=0.005)
    assert time_constant(found) == pytest.approx(seconds / np.log(high / low), rel=1e-6)
    assert found.amplitude == pytest.approx(0.3, rel=1e-3)


def test_what_is_generated_anew_is_the_file():
    sweep = Sweep(20, 20000, 4, "synchronised", 0.5, 0.05, 0.01)
    x = generate(sweep, RATE)
    again = generate(identify(x, RATE, "x.wav"), RATE)
    size = min(x.size, again.size) - 2000
    np.testing.assert_allclose(again[4000:size], x[4000:size], atol=0.005)


TIME = np.arange(2 * RATE) / RATE


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (np.random.default_rng(0).standard_normal(2 * RATE), "expected an exponential sweep"),
        (np.sin(2 * np.pi * 500 * TIME), "does not rise"),
        (np.sin(2 * np.pi * (100 * TIME + 2000 * TIME**2)), "phase misses"),
        (generate(Sweep(20, 20000, 2), RATE)[::-1], "does not rise"),
        (np.zeros(RATE), "hardly any signal"),
    ],
)
def test_other_signals_are_refused(samples, words):
    with pytest.raises(CurveError, match=words):
        identify(samples, RATE, "x.wav")
