"""One-way analysis of variance, against scipy and against the mixed model."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from optimiser.mixed import MixedModel
from optimiser.one_way_analysis import one_way, pooled_interval


@pytest.mark.parametrize("seed", range(5))
def test_f_and_p_agree_with_scipy(seed):
    rng = np.random.default_rng(seed)
    groups = np.repeat(np.arange(5), rng.integers(1, 7, 5) + (np.arange(5) == 0))
    values = 40 + 0.3 * groups + rng.standard_normal(len(groups))
    theirs = stats.f_oneway(*(values[groups == label] for label in range(5)))
    found = one_way(values, [f"day {label}" for label in groups])
    assert found.f == pytest.approx(theirs.statistic, rel=1e-9)
    assert found.p == pytest.approx(theirs.pvalue, rel=1e-9)


def test_group_variance_of_a_balanced_design_is_the_restricted_estimate():
    rng = np.random.default_rng(8)
    groups = np.repeat(np.arange(6), 4)
    values = 2 * rng.standard_normal(6)[groups] + rng.standard_normal(24)
    found = one_way(values, groups)
    fit = MixedModel(values, 0 * groups, {"group": groups}).fit()
    assert found.group_size == pytest.approx(4)
    assert fit.variances["group"] == pytest.approx(found.group_variance, rel=1e-6)
    assert fit.variances["residual"] == pytest.approx(found.within_square, rel=1e-6)


def test_group_variance_is_unbiased_in_an_unbalanced_design():
    rng = np.random.default_rng(9)
    groups = np.repeat(np.arange(5), [1, 2, 3, 5, 9])
    estimates = [
        one_way(rng.standard_normal(5)[groups] + rng.standard_normal(20), groups).group_variance
        for _ in range(4000)
    ]
    assert np.mean(estimates) == pytest.approx(1.0, abs=0.06)
    assert min(estimates) < 0  # it may come out negative, and says so


def test_one_group_one_value_and_equal_values():
    alone = one_way([3.0, 5.0], ["a", "a"])
    assert alone.residual_sd == pytest.approx(math.sqrt(2))
    assert math.isnan(alone.f)
    assert math.isnan(one_way([3.0], ["a"]).residual_sd)
    apart = one_way([1.0, 1.0, 2.0, 2.0], [0, 0, 1, 1])
    assert math.isinf(apart.f)
    assert apart.r_squared == 1
    assert math.isnan(one_way([2.0, 2.0], [0, 0]).r_squared)


@pytest.mark.parametrize(
    ("values", "groups"), [([], []), ([1.0, 2.0], [0]), ([1.0, math.nan], [0, 0])]
)
def test_what_is_no_list_of_values_is_refused(values, groups):
    with pytest.raises(ValueError, match="value"):
        one_way(values, groups)


@pytest.mark.parametrize("degrees", [1, 2.5, 7, 60])
def test_pooled_interval_against_the_chi_square_distribution(degrees):
    low, high = pooled_interval(2.0, degrees)
    quantiles = stats.chi2(degrees).ppf([0.95, 0.05])
    assert (low, high) == pytest.approx(tuple(2.0 * np.sqrt(degrees / quantiles)))
    assert low < 2.0 < high
