"""The choice of a metric's scale, against SciPy's Box-Cox likelihood and on known shapes."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit
from optimiser.encoding import Encoding
from optimiser.scale_choice import gain_of_logarithm, is_better_on_logarithm
from optimiser.transfer import Observations

PLAN = Plan.from_dict(
    {
        "name": "scale",
        "variables": {"x": {"kind": "continuous", "low": 0, "high": 1, "step": 0.001}},
        "metrics": {
            "strength": {"from": "hand", "goal": "maximise", "poor": 1, "good": 100},
            "level": {"from": "hand", "unit": "dB", "goal": "maximise", "poor": 1, "good": 100},
        },
    }
)
SPACE = Space(PLAN)
ENCODING = Encoding(SPACE)
RECIPES = SPACE.sample(20, seed=3)
X = RECIPES["x"].to_numpy(dtype=float)
NORMAL = np.random.default_rng(0).standard_normal(20)
STEEP = np.exp(1.0 + 3.0 * X + 0.05 * NORMAL)
STRAIGHT = 2.0 + 3.0 * X + 0.05 * NORMAL


def seen(values: np.ndarray, recipes=RECIPES) -> Observations:
    labels = np.arange(len(values))
    return Observations(ENCODING(recipes), values, labels, 0 * labels, labels)


def test_gain_for_one_recipe_is_the_difference_of_box_cox_likelihoods():
    # Without any difference between recipes both are independent normal values about a mean.
    same = RECIPES.iloc[[0] * 20].reset_index(drop=True)
    theirs = stats.boxcox_llf(0.0, STEEP) - stats.boxcox_llf(1.0, STEEP)
    assert gain_of_logarithm(seen(STEEP, same), ENCODING, 0) == pytest.approx(theirs, abs=1e-3)


@pytest.mark.parametrize(("values", "log"), [(STEEP, True), (STRAIGHT, False)])
def test_the_scale_on_which_the_noise_is_even_and_the_curve_smooth_is_found(values, log):
    assert is_better_on_logarithm(seen(values), ENCODING, 0) is log


def test_the_gain_does_not_depend_on_the_unit():
    gains = [gain_of_logarithm(seen(factor * STEEP), ENCODING, 0) for factor in (1.0, 1e-3)]
    assert gains[0] == pytest.approx(gains[1], abs=1e-6)


@pytest.mark.parametrize(
    "values", [STEEP - STEEP.min(), STEEP - 5.0, 50.0 + STRAIGHT], ids=["zero", "below", "narrow"]
)
def test_a_logarithm_is_not_asked_for_where_it_does_not_exist_or_changes_nothing(values):
    assert not is_better_on_logarithm(seen(values), ENCODING, 0)


def test_the_model_takes_it_unless_the_unit_says_otherwise():
    trials = RECIPES.assign(strength=STEEP, level=STEEP, status="measured", cone=range(20))
    model = fit(PLAN, trials)
    assert {name: each.log for name, each in model.metrics.items()} == {
        "strength": True,
        "level": False,
    }
