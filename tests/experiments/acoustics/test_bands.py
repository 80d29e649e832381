from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.acoustics.bands import (
    Energy,
    G,
    band,
    bands,
    energy_mean,
    nominal,
    octaves,
    smooth,
)
from tests.examples import examples


def test_band_refuses_a_fraction_under_one():
    with pytest.raises(ValueError, match="expected 1 or more"):
        band(0, 0)


def test_octaves():
    assert octaves(1000.0, 1000.0 * G) == pytest.approx(1.0)


def test_energy_mean_of_a_constant():
    f = np.geomspace(20, 20000, 7)
    assert energy_mean(f, np.full(7, 71.5), 33.0, 8888.0) == pytest.approx(71.5, abs=1e-12)


def test_energy_mean_outside_the_data_is_nan():
    assert np.isnan(energy_mean([100.0, 200.0], [1.0, 2.0], 300.0, 400.0))


@pytest.mark.parametrize(
    ("low", "high"), [(230.0, 3100.0), (100.0, 400.0), (1200.0, 5000.0), (1000.0, 1100.0)]
)
def test_energy_mean_interpolates_the_edges(low, high):
    """Against brute-force integration of the straight line."""
    f, y = np.array([100.0, 900.0, 5000.0]), np.array([60.0, 84.0, 71.0])
    x = np.linspace(np.log(low), np.log(high), 200001)
    power = 10 ** (np.interp(x, np.log(f), y) / 10)
    expected = 10 * np.log10(np.trapezoid(power, x) / (x[-1] - x[0]))
    assert energy_mean(f, y, low, high) == pytest.approx(expected, abs=1e-6)


@given(st.integers(0, 1000), st.integers(3, 60), st.integers(2, 9))
@settings(max_examples=examples(40), deadline=None)
def test_points_on_the_line_change_nothing(seed, points, extra):
    rng = np.random.default_rng(seed)
    f = np.sort(rng.uniform(20, 20000, points))
    y = rng.uniform(0, 100, points)
    more = np.sort(np.concatenate([f, np.exp(rng.uniform(np.log(f[0]), np.log(f[-1]), extra))]))
    dense = np.interp(np.log(more), np.log(f), y)
    low, high = f[0] * 1.1, f[-1] * 0.9
    if low < high:
        assert energy_mean(more, dense, low, high) == pytest.approx(
            energy_mean(f, y, low, high), abs=1e-8
        )


def test_a_mean_far_below_the_maximum_is_still_right():
    f = np.array([100.0, 999.0, 1000.0, 10000.0])
    y = np.array([120.0, 120.0, -20.0, -20.0])
    assert energy_mean(f, y, 1200.0, 9000.0) == pytest.approx(-20.0, abs=0.01)


def test_smoothing_a_step():
    """Half of the window on each side: the mean of two powers."""
    f = np.array([100.0, 1000.0, 1000.0 * (1 + 1e-9), 10000.0])
    y = np.array([80.0, 80.0, 60.0, 60.0])
    expected = 10 * np.log10((1e8 + 1e6) / 2)
    assert smooth(f, y, 3, at=[1000.0])[0] == pytest.approx(expected, abs=1e-4)


@pytest.mark.parametrize("fraction", [1, 3, 12, 48])
def test_smoothing_leaves_a_flat_curve(fraction):
    f = np.geomspace(20, 20000, 333)
    np.testing.assert_allclose(smooth(f, np.full(333, 50.0), fraction), 50.0, atol=1e-9)


def test_smoothing_hides_a_narrow_trough():
    f = np.geomspace(100, 10000, 4001)
    y = np.where(np.abs(np.log2(f / 1000)) < 0.02, 60.0, 80.0)
    assert np.min(smooth(f, y, 3)) > 79.0


def test_running_energy_takes_arrays():
    energy = Energy([100.0, 1000.0], [0.0, 0.0])
    np.testing.assert_allclose(energy.mean_level([100.0, 200.0], [200.0, 400.0]), 0.0, atol=1e-12)


def test_bands_are_those_whose_middle_lies_between_the_limits():
    assert [item.index for item in bands(1000.0, 1000.0)] == [0]
    assert [item.index for item in bands(1001.0, 1994.0)] == [1, 2]  # beside 1000, 1995.3
    assert [item.index for item in bands(501.1, 1995.3)] == [-3, -2, -1, 0, 1, 2, 3]
    assert bands(1010.0, 1200.0) == []
    assert band(1) == band(1, 3)
    assert nominal(1) == 1250


@pytest.mark.parametrize("fraction", [1, 2, 3, 6, 12])
def test_no_band_is_left_out_at_the_ends(fraction):
    found = bands(130.0, 7300.0, fraction)
    before, after = (band(found[end].index + step, fraction) for end, step in ((0, -1), (-1, 1)))
    assert before.mid < 130.0 <= found[0].mid
    assert found[-1].mid <= 7300.0 < after.mid


@pytest.mark.parametrize(
    ("fraction", "index", "expected"),
    [(6, 0, 1060), (6, 5, 1880), (6, -6, 530), (6, -8, 422), (5, 1, 1150), (2, 3, 3350)],
)
def test_nominal_frequencies_of_other_fractions(fraction, index, expected):
    """Three significant digits from 1 to 4, two from 5 on (IEC 61260-1 Annex E, from memory)."""
    assert nominal(index, fraction) == expected


@pytest.mark.parametrize("slope", [0.02, 1e-9])
def test_energy_mean_of_a_hardly_sloping_line(slope):
    """(10^r - 1)/(r ln 10), by its series in the rise."""
    f = np.geomspace(100.0, 1600.0, 5)
    rise = slope * 4 / 10 * np.log(10)
    expected = 70 + 10 / np.log(10) * (rise / 2 + rise**2 / 24)
    found = energy_mean(f, 70 + slope * np.log2(f / 100), 100.0, 1600.0)
    assert found == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("fraction", [1, 3, 12])
def test_the_window_of_smoothing_is_as_wide_as_it_says(fraction):
    """A step from 80 to 60 dB at 1 kHz: the share of each in a window of 1/N octave."""
    f = np.array([100.0, 1000.0, 1000.0 * (1 + 1e-9), 10000.0])
    away = np.array([-0.51, -0.25, 0.25, 0.49, 0.51]) / fraction
    found = smooth(f, [80.0, 80.0, 60.0, 60.0], fraction, at=1000.0 * G**away)
    loud = np.array([1.0, 0.75, 0.25, 0.01, 0.0])
    np.testing.assert_allclose(found, 10 * np.log10(loud * 1e8 + (1 - loud) * 1e6), atol=1e-5)
