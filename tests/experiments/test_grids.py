"""Printable values: decimals as they are written, and nothing beyond the ends."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.grids import levels_grid, stepless_grid, stepped_grid, steps_between


@given(
    st.integers(-500, 500),
    st.integers(1, 300),
    st.integers(1, 200),
    st.sampled_from([1, 10, 1000]),
)
def test_every_value_is_the_float_that_its_decimal_reads_as(first, step, count, scale):
    low, high = first / scale, (first + step * count) / scale
    grid = stepped_grid(low, high, step / scale)
    exact = [float(Fraction(first + step * k, scale)) for k in range(count + 1)]
    assert grid.tolist() == exact  # to the last bit: 0.3, not 0.30000000000000004


def test_steps_that_do_not_reach_the_end():
    assert steps_between(0, 1, 0.3) is None
    assert steps_between(0, 1, 0.25) == 4
    assert steps_between(0.1, 0.7, 0.2) == 3  # 2.9999999999999996 in binary
    assert steps_between(0, 1, 2) is None
    assert steps_between(0, 1e300, 1e-300) is None
    with pytest.raises(ValueError, match="do not reach"):
        stepped_grid(0, 1, 0.3)


def test_a_step_that_is_no_decimal():
    np.testing.assert_allclose(stepped_grid(0, 1, 1 / 3), [0, 1 / 3, 2 / 3, 1], rtol=1e-15)


@given(st.floats(-1e6, 1e6), st.floats(1e-3, 1e6))
def test_stepless_values_are_even(low, width):
    grid = stepless_grid(low, low + width, log=False)
    assert grid.shape == (101,)
    assert grid[0] == low
    assert grid[-1] == low + width
    np.testing.assert_allclose(np.diff(grid), width / 100, rtol=1e-5, atol=1e-9)


@given(st.floats(1e-6, 1e6), st.floats(1.001, 1e6))
def test_stepless_values_are_even_in_the_logarithm(low, ratio):
    grid = stepless_grid(low, low * ratio, log=True)
    assert grid.shape == (101,)
    assert (grid[0], grid[-1]) == (low, low * ratio)
    np.testing.assert_allclose(np.diff(np.log(grid)), np.log(ratio) / 100, rtol=1e-4, atol=1e-9)


def test_stepless_values_print_shortly():
    assert stepless_grid(-5, 10, log=False)[1:4].tolist() == [-4.85, -4.7, -4.55]


def test_levels():
    words = levels_grid(["b", "a"], numeric=False)
    assert words.dtype == object
    assert words.tolist() == ["b", "a"]
    numbers = levels_grid([0.2, 3], numeric=True)
    assert numbers.dtype == np.float64
    assert numbers.tolist() == [0.2, 3.0]
