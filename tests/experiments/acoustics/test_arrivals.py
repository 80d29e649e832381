"""Recordings that are cut off, hold another sweep, or lost samples."""

from __future__ import annotations

import re

import numpy as np
import pytest

from experiments.acoustics import Options, listen
from experiments.acoustics.curves import Impulse
from experiments.acoustics.options import Sweep
from experiments.acoustics.sweep import analyse
from experiments.errors import CurveError
from tests.experiments.acoustics.recordings import RATE, SWEEP, recorded


@pytest.mark.parametrize(
    "stated",
    ["20:20000:3.1", "20:20000:2.5", "10:20000:3", "30:20000:3", "20:22000:3", "100:10000:3"],
)
def test_another_sweep_is_refused(known, stated):
    y, _, _ = recorded(noise=1e-3)
    with pytest.raises(CurveError):
        listen(known.wav(y), options=Options(sweep=Sweep.from_text(stated)))


@pytest.mark.parametrize(
    ("cut", "words"),
    [(slice(6000, None), "start"), (slice(0, 100_000), "at least"), (slice(0, 3 * RATE), "end")],
)
def test_recordings_that_are_cut_off_are_refused(cut, words):
    y, _, _ = recorded()
    with pytest.raises(CurveError, match=words):
        analyse(Impulse(y[cut], RATE), SWEEP)


def test_an_underrun_beyond_a_tenth_of_a_second_is_told():
    """What the sweep plays after it arrives earlier by its duration."""
    sweep = Sweep(20, 20000, 10, "exponential")
    y, _, _ = recorded(sweep, before=0.25)
    place = int((0.25 + 10 * np.log(8000 / 20) / np.log(1000)) * RATE)
    found = analyse(Impulse(np.delete(y, slice(place, place + 7200)), RATE), sweep)
    (warning,) = (item for item in found.warnings if item.code == "drop_outs")
    frequency, apart = (float(word) for word in re.findall(r"[\d.e+]+(?= Hz| ms)", warning.text))
    assert apart == pytest.approx(150, abs=0.5)
    assert 8000 / 1.6 < frequency < 8000 * 1.6
    assert "deviation_db" in found.spoilt


def test_a_header_with_another_rate_is_refused():
    """48 kHz samples that a file calls 44.1 kHz are a sweep 8.8 % too slow."""
    y, _, _ = recorded()
    with pytest.raises(CurveError):
        analyse(Impulse(y, 44100), SWEEP)


def test_noise_is_no_sweep():
    noise = 1e-3 * np.random.default_rng(0).standard_normal(5 * RATE)
    with pytest.raises(CurveError, match="no sweep in it"):
        analyse(Impulse(noise, RATE), SWEEP)
