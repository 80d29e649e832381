from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics.curves import Distortion
from experiments.acoustics.distortion import highest_fundamental, thd_peak, total_harmonic

F = np.array([100.0, 200.0, 400.0, 800.0, 1600.0])


def test_peak_with_its_harmonics():
    curve = Distortion(F, [1, 2, 5, 3, 1], {2: [1, 2, 4, 3, 1], 3: [0, 0, 3, 0, 0]})
    peak = thd_peak(curve)
    assert (peak.frequency, peak.thd) == (pytest.approx(400.0), 5.0)
    assert dict(peak.harmonics) == {2: 4.0, 3: 3.0}
    assert not peak.at_edge
    assert peak.noise_margin_db is None


def test_thd_from_harmonics():
    curve = Distortion(F, None, {2: [3, 0, 0, 0, 0], 3: [4, 0, 0, 0, 0]})
    peak = thd_peak(curve)
    assert peak.thd == pytest.approx(5.0)
    assert peak.at_edge


def test_band_edges_are_interpolated():
    peak = thd_peak(Distortion(F, [9, 5, 1, 1, 1]), (np.sqrt(100 * 200.0), 1000.0))
    assert peak.frequency == pytest.approx(np.sqrt(20000.0))
    assert peak.thd == pytest.approx(7.0)
    assert peak.at_edge


def test_of_total():
    peak = thd_peak(Distortion(F, [1, 100, 1, 1, 1]), thd_of="total")
    assert peak.thd == pytest.approx(70.7107, rel=1e-6)


def test_points_beyond_the_bandwidth_are_not_used():
    curve = Distortion(F, [1, 2, 1, 1, 9], {2: [1] * 5, 5: [1] * 5}, bandwidth_hz=4000.0)
    peak = thd_peak(curve)
    assert peak.thd == 2.0
    assert peak.unused == 1


def test_without_a_bandwidth_the_second_harmonic_must_be_audible():
    f = np.array([1000.0, 5000.0, 9000.0, 12000.0, 20000.0])
    assert highest_fundamental(Distortion(f, [1, 1, 2, 50, 90])) == 10000.0
    assert thd_peak(Distortion(f, [1, 1, 2, 50, 90])).thd == 2.0
    assert thd_peak(Distortion(2 * f, [1, 1, 2, 50, 90])).thd == 2.0


def test_blanks_at_the_end_stand_for_the_bandwidth():
    nan = np.nan
    curve = Distortion(F, [1, 2, 1, 1, 9], {2: [1] * 5, 5: [1, 1, 1, 1, nan]})
    assert thd_peak(curve).thd == 2.0
    gap_inside = Distortion(F, [1, 2, 1, 1, 9], {5: [1, nan, 1, 1, 1]})
    assert thd_peak(gap_inside).thd == 9.0


def test_points_in_the_noise_are_passed_over():
    curve = Distortion(F, [1, 2, 8, 1, 1], None or {}, noise=[0.1, 0.1, 6, 0.1, 0.1])
    peak = thd_peak(curve)
    assert peak.thd == 2.0
    assert peak.noise_margin_db == pytest.approx(20 * np.log10(20))
    buried = Distortion(F, [1, 2, 8, 1, 1], noise=[1, 2, 6, 1, 1])
    assert thd_peak(buried).noise_margin_db < 6


def test_no_point_in_the_band():
    assert thd_peak(Distortion(F, [1, 2, 3, 4, 5]), (5000.0, 6000.0)) is None
    assert thd_peak(Distortion(F, np.full(5, np.nan))) is None


def test_total_harmonic_of_gaps_is_a_gap():
    found = total_harmonic([[3.0, 1.0], [4.0, np.nan]])
    assert found[0] == 5.0
    assert np.isnan(found[1])
