from __future__ import annotations

import math

import numpy as np
import pytest

from experiments.acoustics import BandDecay, Impulse, band_decay
from experiments.errors import CurveError

RATE = 48000


def row(found: BandDecay, frequency: float) -> np.ndarray:
    return found.level[int(np.argmin(np.abs(found.frequency - frequency)))]


@pytest.mark.parametrize("f0", [1000.0, 3000.0, 9000.0])
@pytest.mark.parametrize("q", [6.0, 12.0, 30.0, 80.0])
def test_one_mode_falls_as_the_closed_form_says(known, f0, q):
    """20 lg(e) pi f0 / Q decibels a second; second-order resonance, any textbook."""
    found = band_decay(Impulse(known.mode(f0, q, seconds=0.4), RATE), (f0 / 2.1, f0 * 2.1))
    level = row(found, f0)
    nearest = found.frequency[int(np.argmin(np.abs(found.frequency - f0)))]
    seen = (found.time > 5 / f0) & (level > -80)
    assert abs(math.log(nearest / f0)) < 0.03
    slope = np.polyfit(found.time[seen], level[seen], 1)[0]
    expected = -20 * math.log10(math.e) * math.pi * f0 / q
    assert slope == pytest.approx(expected, rel=0.02)


def test_a_single_pulse_is_level_and_shows_the_analysis_alone():
    """The envelope of a Gaussian band-pass: down by 40 dB where `own` says so."""
    h = np.zeros(9600)
    h[3000] = 1.0
    found = band_decay(Impulse(h, RATE), (500.0, 8000.0), 0.008)
    assert found.level[:, 0] == pytest.approx(0.0, abs=0.05)
    for k, own in enumerate(found.own):
        if own < found.time[-1]:
            assert np.interp(own, found.time, found.level[k]) == pytest.approx(-40.0, abs=1.0)


def test_gain_polarity_delay_and_offset_change_nothing(known):
    h = known.mode(2000.0, 15.0, seconds=0.2)
    plain = band_decay(Impulse(h, RATE))
    moved = band_decay(Impulse(-7 * np.concatenate((np.zeros(555), h)) + 0.02, RATE))
    np.testing.assert_allclose(moved.time, plain.time)
    np.testing.assert_allclose(
        np.maximum(moved.level, -60), np.maximum(plain.level, -60), atol=0.01
    )


def test_shapes_and_limits(known):
    found = band_decay(Impulse(known.mode(2000.0, 15.0), RATE), (20.0, 90000.0), 0.02)
    assert found.level.shape == (found.frequency.size, found.time.size)
    assert found.time.size <= 240
    assert found.time[0] == 0.0
    assert found.time[-1] < 0.02
    assert found.frequency[0] == pytest.approx(200.0)  # rings 4 periods within 20 ms
    assert found.frequency[-1] < RATE / 2
    assert np.max(found.level) == 0.0


def test_what_carries_nothing_is_refused():
    with pytest.raises(CurveError, match="zeros only"):
        band_decay(Impulse(np.zeros(100), RATE))
    with pytest.raises(CurveError, match="octave of the band"):
        band_decay(Impulse(np.eye(20)[5], RATE))
