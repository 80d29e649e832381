from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics.curves import Distortion
from experiments.acoustics.distortion import (
    below_a_harmonic,
    highest_fundamental,
    thd,
    thd_peak,
    total_harmonic,
)

F = np.array([100.0, 200.0, 400.0, 800.0, 1600.0])
NAN = float("nan")


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


def test_thd_of_amplitudes_in_any_unit():
    assert thd([2.0, 0.6, -0.8]) == pytest.approx(50.0)
    assert thd([-2e-3, 2e-3], "total") == pytest.approx(100 / np.sqrt(2))


def test_total_harmonic_of_gaps_is_a_gap():
    found = total_harmonic([[3.0, 1.0], [4.0, np.nan]])
    assert found[0] == 5.0
    assert np.isnan(found[1])


def test_the_peak_may_stand_at_either_end():
    for values, frequency in (([9, 1, 1, 1, 2], 100.0), ([2, 1, 1, 1, 9], 1600.0)):
        peak = thd_peak(Distortion(F, values))
        assert peak.frequency == pytest.approx(frequency)
        assert peak.at_edge
    assert thd_peak(Distortion(F, [2, 1, 1, 9, 2])).at_edge is False
    assert peak.covered == pytest.approx((100.0, 1600.0))
    assert thd_peak(Distortion(F, [1, 1, 1, 1, 9]), (150.0, 900.0)).covered == pytest.approx(
        (150.0, 900.0)
    )


def test_a_band_beside_a_peak_does_not_take_it_in():
    curve = Distortion(F, [1, 1, 9, 1, 1])
    assert thd_peak(curve, (401.0, 1600.0)).thd == pytest.approx(9 - 8 * np.log2(401 / 400))
    assert thd_peak(curve, (100.0, 399.0)).thd == pytest.approx(9 - 8 * np.log2(400 / 399))
    assert thd_peak(curve, (400.0, 800.0)).thd == thd_peak(curve, (100.0, 400.0)).thd == 9.0


def test_harmonics_at_a_band_edge_are_interpolated_over_log_frequency():
    curve = Distortion(F, [9, 5, 1, 1, 1], {2: [8, 4, 1, 1, 1], 3: [1, NAN, 0, 0, 0]})
    peak = thd_peak(curve, (100 * 2**0.25, 1000.0))
    assert peak.harmonics[2] == pytest.approx(7.0)
    assert np.isnan(peak.harmonics[3])  # not known on one side


def test_what_the_bandwidth_carries():
    """All harmonics must lie inside a known bandwidth; without columns of any, the second."""
    f = np.array([100.0, 400.0, 800.0, 806.0])
    peak = thd_peak(Distortion(f, [1, 1, 3, 9], {2: [1] * 4, 5: [1] * 4}, bandwidth_hz=4000.0))
    assert (peak.thd, peak.unused) == (3.0, 1)
    assert highest_fundamental(Distortion(f, [1] * 4, bandwidth_hz=3000.0)) == 1500.0


def test_a_column_that_is_wholly_blank_takes_no_part():
    curve = Distortion(F, None, {2: [1, 3, 2, 1, NAN], 3: [NAN] * 5, 4: [0, 4, NAN, 0, 0]})
    peak = thd_peak(curve)
    assert peak.thd == pytest.approx(5.0)
    assert peak.unused == 2
    assert thd_peak(Distortion(F, [1, 2, 3, 2, 1], {3: [NAN] * 5})).thd == 3.0
    assert thd_peak(Distortion(F, None, {2: [NAN] * 5, 3: [NAN] * 5})) is None


def test_points_in_the_noise_count_where_nothing_in_the_band_stands_clear():
    curve = Distortion(F, [9, 2, 8, 2.1, 1], noise=[1, 1, 6, 1, 0.9])
    assert thd_peak(curve).thd == 9.0
    assert thd_peak(curve, (400.0, 1600.0)).thd == pytest.approx(2.1)  # 6.4 dB over the noise
    assert thd_peak(curve, (390.0, 410.0)).thd == 8.0
    assert thd_peak(curve, (800.0, 1600.0)).thd == thd_peak(curve, (400.0, 800.0)).thd
    # Twice the noise is clear of it.
    assert thd_peak(Distortion(F, [1, 2, 8, 1, 1], noise=[1, 1, 6, 1, 1])).thd == 2.0


def test_the_margin_over_the_noise():
    def margin(value, noise):
        return thd_peak(Distortion(F, [0, 0, value, 0, 0], noise=noise)).noise_margin_db

    assert margin(1e-3, [1e-4] * 5) == pytest.approx(20.0)
    assert margin(1.0, [1e-4, 1e-4, NAN, 1e-4, 1e-4]) is None
    assert margin(1.0, [0.0] * 5) == np.inf


def test_thd_below_a_harmonic_worst_first():
    """Two digits behind the point and 5 % are left for rounding."""
    curve = Distortion(
        F, [1.0, 1.0, 0.0, 0.0, 3.0], {2: [1.05, 0.2, 0.01, 0.02, 1], 3: [0.1, 1.1, 0, 0, 9]}
    )
    assert below_a_harmonic(curve) == [
        (1600.0, 3.0, 9.0), (800.0, 0.0, 0.02), (200.0, 1.0, 1.1)
    ]  # fmt: skip
    assert below_a_harmonic(Distortion(F, None, {2: [1] * 5})) == []
    assert below_a_harmonic(Distortion(F, [1] * 5)) == []
    assert below_a_harmonic(Distortion(F, [0] * 5, {2: [NAN] * 5, 3: [0] * 5})) == []
