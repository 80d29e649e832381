"""Combining uncertainties; the guide's own examples are in tests/published/test_gum.py."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from optimiser.budget import combine, coverage_factor


def test_factors_are_those_of_scipys_t():
    for degrees in (1, 3, 12, 200):
        expected = stats.t(degrees).ppf(0.95)
        assert coverage_factor(0.9, degrees) == pytest.approx(expected, rel=1e-9)
    assert coverage_factor(0.9, math.inf) == pytest.approx(stats.norm.ppf(0.95))


@pytest.mark.parametrize("unit", [1e-90, 1.0, 1e90])
def test_units_do_not_matter(unit):
    found = combine([3 * unit, 4 * unit], [2, 8])
    assert found.uncertainty / unit == pytest.approx(5)
    assert found.degrees == pytest.approx(625 / (81 / 2 + 256 / 8))


def test_parts_that_are_zero_or_known_cost_no_degrees():
    assert combine([1.0, 0.0], [5, math.inf]).degrees == pytest.approx(5)
    assert combine([1.0, 0.0], [5, 1]).degrees == pytest.approx(5)
    assert math.isinf(combine([0.0, 0.0], [1, 1]).degrees)
    assert combine([1.0, 1.0], [math.inf, 3]).degrees == pytest.approx(12)


def test_the_expanded_uncertainty_holds_the_share_of_new_values():
    """Two sources with 4 and 6 degrees of freedom, drawn anew each time."""
    rng = np.random.default_rng(5)
    inside = []
    for _ in range(4000):
        one, two = np.sqrt(rng.chisquare(4) / 4), 0.5 * np.sqrt(rng.chisquare(6) / 6)
        new = rng.standard_normal() + 0.5 * rng.standard_normal()
        inside.append(abs(new) <= combine([one, two], [4, 6]).expanded(0.9))
    assert np.mean(inside) == pytest.approx(0.9, abs=0.02)
