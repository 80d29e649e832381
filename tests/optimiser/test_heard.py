from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics import Distortion, Impulse, Response
from optimiser.heard import envelope_of, line_of, ringing_of


def test_a_response_stays_as_it_is():
    line = line_of(Response([100, 200, 400], [80, 81, 79]), 7)
    assert line.x.tolist() == [100, 200, 400]
    assert line.y.tolist() == [80, 81, 79]
    assert line.name == "cone 7"


def test_distortion_without_a_total_is_the_root_of_the_squares():
    harmonics = {2: np.array([3.0, 0.0]), 3: np.array([4.0, 2.0])}
    line = line_of(Distortion([100, 200], harmonics=harmonics), label="file.txt")
    assert line.y.tolist() == [5.0, 2.0]
    assert line.name == "file.txt"


def test_an_impulse_is_in_ms_without_its_offset():
    rate = 48000
    time = np.arange(4800) / rate
    tone = np.exp(-time / 2e-3) * np.sin(2 * np.pi * 1000 * time)
    curve = Impulse(tone + 0.25, rate, start=-0.001)
    line = line_of(curve, 1)
    assert line.x[0] == pytest.approx(-1.0)
    assert line.x[48] == pytest.approx(0.0)
    assert line.y == pytest.approx(tone, abs=1e-6)
    envelope = envelope_of(curve)
    # The analytic signal's magnitude is nowhere below the signal's own.
    assert np.all(envelope >= np.abs(line.y) - 1e-9)


def test_ringing_is_in_ms_and_cut_to_the_band():
    time = np.arange(4800) / 48000
    curve = Impulse(np.exp(-time / 2e-3) * np.sin(2 * np.pi * 3000 * time), 48000)
    found = ringing_of(curve, (1000, 9000), "cone.wav")
    assert found is not None
    assert found.label == "cone.wav"
    assert found.frequency[0] == pytest.approx(1000)
    assert found.frequency[-1] <= 9000
    assert 50 < found.time[-1] < 100
    # A mode of tau = 2 ms falls by 40 dB in tau ln 100.
    row = found.level[np.argmin(np.abs(found.frequency - 3000))]
    fallen = found.time[np.flatnonzero(row > row[found.time > 2.5][0] - 40)[-1]]
    assert fallen == pytest.approx(2.5 + 2 * np.log(100), rel=0.06)


def test_a_record_too_short_for_it_has_no_ringing():
    assert ringing_of(Impulse(np.eye(20)[5], 48000)) is None
