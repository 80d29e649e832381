"""The Rail data: Pinheiro & Bates (2000), Mixed-Effects Models in S and S-PLUS, section 1.1.

Values from memory of the publication; for a balanced design they follow from the mean squares
(Searle, Casella & McCulloch 1992), which is recomputed here.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimiser.mixed import MixedModel
from optimiser.one_way_analysis import one_way
from optimiser.profiles import profile_cut, variance_interval

TIMES = [[55, 53, 54], [26, 37, 32], [78, 91, 85], [92, 100, 96], [49, 51, 50], [80, 85, 83]]
VALUES = np.array(TIMES, dtype=float).ravel()
RAIL = np.repeat(np.arange(6), 3)


@pytest.fixture(scope="module")
def model() -> MixedModel:
    return MixedModel(VALUES, np.zeros(18, dtype=int), {"rail": RAIL})


def test_mean_squares():
    found = one_way(VALUES, RAIL)
    assert found.between_square == pytest.approx(1862.1)
    assert found.within_square == pytest.approx(16.16667, abs=5e-6)
    assert (found.between_degrees, found.within_degrees) == (5, 12)
    assert found.f == pytest.approx(115.181, abs=5e-4)
    assert found.group_variance == pytest.approx((1862.1 - 16.16667) / 3, abs=1e-3)


@pytest.mark.parametrize(
    ("restricted", "rail", "likelihood"),
    [(True, 24.80547, -61.08850), (False, 22.62435, -64.28002)],
)
def test_published_estimates(model, restricted, rail, likelihood):
    fit = model.fit(restricted)
    assert math.sqrt(fit.variances["rail"]) == pytest.approx(rail, abs=6e-6)
    assert math.sqrt(fit.variances["residual"]) == pytest.approx(4.020779, abs=6e-7)
    assert fit.log_likelihood == pytest.approx(likelihood, abs=6e-6)
    assert fit.means == pytest.approx([66.5])


def test_standard_error_of_the_mean_and_intraclass_correlation(model):
    fit = model.fit()
    assert fit.mean_errors[0] == pytest.approx(10.17104, abs=6e-6)
    between, residual = fit.variances["rail"], fit.variances["residual"]
    assert between / (between + residual) == pytest.approx(0.974399, abs=6e-7)


def test_restricted_estimates_are_those_of_the_mean_squares(model):
    fit, found = model.fit(), one_way(VALUES, RAIL)
    assert fit.variances["residual"] == pytest.approx(found.within_square, rel=1e-8)
    assert fit.variances["rail"] == pytest.approx(found.group_variance, rel=1e-7)


def test_profile_ends_by_the_likelihood_of_the_mean_squares(model):
    """The restricted likelihood of a balanced one-way design in closed form, on a fine grid."""
    fit, found = model.fit(), one_way(VALUES, RAIL)

    def likelihood(residual, rail):
        expected = residual + 3 * rail
        return -0.5 * (
            12 * np.log(residual)
            + found.within / residual
            + 5 * np.log(expected)
            + found.between / expected
        )

    residual = np.linspace(5, 60, 4001)
    top = likelihood(fit.variances["residual"], fit.variances["rail"])
    for end in variance_interval(model, fit, "rail", 5):
        fall = 2 * (top - likelihood(residual, end).max())
        assert fall == pytest.approx(profile_cut(5), abs=1e-4)
