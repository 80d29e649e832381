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


@pytest.mark.parametrize(("lost", "at"), [(300, 8000), (1024, 8000), (1024, 1500)])
def test_samples_lost_during_the_sweep_are_told(lost, at):
    """What the sweep plays after them arrives earlier by their duration."""
    y, _, _ = recorded()
    place = int((0.05 + 3 * np.log(at / 20) / np.log(1000)) * RATE)
    found = analyse(Impulse(np.delete(y, slice(place, place + lost)), RATE), SWEEP)
    (warning,) = (item for item in found.warnings if item.code == "drop_outs")
    frequency, apart = (float(word) for word in re.findall(r"[\d.e+]+(?= Hz| ms)", warning.text))
    assert apart == pytest.approx(1000 * lost / RATE, abs=0.2)
    assert at / 1.6 < frequency < at * 1.6


def test_a_header_with_another_rate_is_refused():
    """48 kHz samples that a file calls 44.1 kHz are a sweep 8.8 % too slow."""
    y, _, _ = recorded()
    with pytest.raises(CurveError):
        analyse(Impulse(y, 44100), SWEEP)
