"""Profile intervals: the height of the cut, and the one case that has a closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, stats

from optimiser.mixed import MixedModel
from optimiser.profiles import profile_cut, variance_interval


@pytest.mark.parametrize("level", [0.8, 0.9, 0.95])
def test_many_degrees_need_the_chi_square_quantile(level):
    assert profile_cut(100_000, level) == pytest.approx(stats.chi2(1).ppf(level), rel=1e-3)


@pytest.mark.parametrize("degrees", [1, 2, 5, 20])
def test_the_cut_covers_exactly_for_one_variance(degrees):
    """By drawing mean squares; a standard error of 0.0006."""
    ratio = stats.chi2(degrees).rvs(250_000, random_state=3) / degrees
    fall = degrees * (ratio - 1 - np.log(ratio))
    assert np.mean(fall <= profile_cut(degrees)) == pytest.approx(0.9, abs=0.003)


@pytest.mark.parametrize("count", [2, 4, 12])
def test_ends_for_one_variance_alone(count):
    values = np.random.default_rng(count).standard_normal(count)
    model = MixedModel(values, np.zeros(count, dtype=int), {})
    fit, degrees = model.fit(), count - 1
    low, high = variance_interval(model, fit, "residual", degrees)
    square = np.var(values, ddof=1)

    def fall(log_w):
        return degrees * (np.exp(log_w) - 1 - log_w) - profile_cut(degrees)

    assert low == pytest.approx(square / np.exp(optimize.brentq(fall, 1e-6, 20)), rel=1e-4)
    assert high == pytest.approx(square / np.exp(optimize.brentq(fall, -20, -1e-6)), rel=1e-4)


def test_an_estimate_of_zero_has_zero_as_its_lower_end_and_an_upper_one():
    # Group means nearer to each other than their values allow.
    values = np.array([0.0, 2.0, 1.0, 1.1, 2.1, 0.0])
    model = MixedModel(values, np.zeros(6, dtype=int), {"group": np.array([0, 0, 1, 1, 2, 2])})
    fit = model.fit()
    assert fit.variances["group"] == 0
    low, high = variance_interval(model, fit, "group", 2)
    assert low == 0
    assert 0 < high < 50


def test_the_interval_scales_with_the_values():
    rng = np.random.default_rng(4)
    group = np.repeat(np.arange(5), 3)
    values = rng.standard_normal(5)[group] + 0.3 * rng.standard_normal(15)
    ends = []
    for factor in (1.0, 1e-6, 1e6):
        model = MixedModel(factor * values, 0 * group, {"group": group})
        ends.append(np.array(variance_interval(model, model.fit(), "group", 4)) / factor**2)
    np.testing.assert_allclose(ends[1:], [ends[0]] * 2, rtol=1e-3)
