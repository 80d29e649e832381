"""What an individuals chart can and cannot see; factors are in tests/published."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimiser.control_chart import FIRM_READINGS, LEAST_READINGS, individuals


@pytest.mark.parametrize("count", range(3, 12))
def test_a_huge_shift_of_the_newest_reading_is_seen_from_five_on(count):
    values = np.zeros(count)
    values[-1] = 1e6
    found = individuals(values)
    assert found.outside.any() == found.outside[-1] == (count >= LEAST_READINGS)
    assert found.jumped[-1] == (count >= LEAST_READINGS)


@pytest.mark.parametrize("count", range(3, 14))
def test_a_huge_shift_in_the_middle_is_seen_from_eight_on(count):
    values = np.zeros(count)
    values[count // 2] = 1e6
    assert individuals(values).outside.any() == (count >= FIRM_READINGS)


def test_steady_readings_are_seldom_called_shifted():
    rng = np.random.default_rng(2)
    false = {
        count: np.mean(
            [individuals(rng.standard_normal(count)).outside.any() for _ in range(2000)]
        )
        for count in (5, 10, 20)
    }
    assert false[5] < 0.02
    assert false[10] < 0.05
    # 20 times the 0.27 % beyond three standard deviations, were the limits known.
    assert 0.02 < false[20] < 0.09


@given(
    st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=20),
    st.floats(-1e3, 1e3),
    st.sampled_from([1e-3, 1.0, 1e3]),
)
def test_limits_move_and_scale_with_the_readings(values, shift, factor):
    plain = individuals(values)
    moved = individuals(factor * (np.array(values) + shift))
    scale = factor * (np.ptp(values) + 1e-6 * (1 + abs(shift) + np.max(np.abs(values))))
    for name in ("centre", "low", "high"):
        expected = factor * (getattr(plain, name) + shift)
        assert getattr(moved, name) == pytest.approx(expected, abs=1e-6 * scale)
    assert plain.low <= plain.centre <= plain.high


def test_equal_readings_are_steady_and_few_have_no_limits():
    equal = individuals([7.3] * 9)
    assert equal.low == equal.high == pytest.approx(7.3)
    assert not equal.outside.any()
    assert not equal.jumped.any()
    for few in ([], [3.0]):
        found = individuals(few)
        assert np.isnan(found.low)
        assert not found.outside.any()
