"""Does A beat B."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import NormalIndPower

from experiments.errors import RecipeError
from experiments.plan import Plan
from optimiser import compare
from optimiser.comparing import compare_levels, replicates_to_tell


def two_recipes(gap: float, count: int, seed: int) -> tuple[Plan, pd.DataFrame]:
    """Replicates of two recipes whose metric differs by `gap`, noise 1."""
    plan = Plan.from_dict(
        {
            "name": "pair",
            "variables": {"kind": {"kind": "choice", "levels": ["a", "b"]}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    rng = np.random.default_rng(seed)
    kinds = np.array(["a", "b"] * count, dtype=object)
    values = rng.standard_normal(2 * count) + gap * (kinds == "a")
    return plan, pd.DataFrame({"kind": kinds, "y": values, "status": "measured"})


@pytest.mark.parametrize("gap", [0.0, 1.0, 2.0])
def test_agrees_with_the_t_test_when_there_are_many_replicates(gap):
    # With 25 replicates of each of two recipes the prior hardly counts: Student's t test.
    plan, trials = two_recipes(gap, 25, seed=4)
    result = compare(plan, trials, a={"kind": "a"}, b={"kind": "b"}, seed=0)
    groups = [trials.loc[trials["kind"] == k, "y"] for k in ("a", "b")]
    test = stats.ttest_ind(*groups)
    interval = test.confidence_interval(0.9)
    width = interval.high - interval.low
    assert result.score.mean == pytest.approx(
        groups[0].mean() - groups[1].mean(), abs=0.15 * width
    )
    assert result.score.high - result.score.low == pytest.approx(width, rel=0.25)
    expected = stats.t(48).cdf(test.statistic)
    assert result.probability == pytest.approx(expected, abs=0.08)


def test_a_recipe_does_not_differ_from_itself(mixed_plan):
    plan, trials = two_recipes(1.0, 5, seed=1)
    result = compare(plan, trials, a={"kind": "a"}, b={"kind": "a"}, seed=0)
    assert result.score.mean == 0.0
    assert result.probability == 0.5
    assert result.replicates is None
    assert result.text == "Kind a is compared with itself: the same recipe, so no difference."
    twins = compare(plan, trials, {"kind": "a"}, {"kind": "a"}, names=("cone 1", "cone 3"))
    assert twins.text.startswith("Cone 1 and cone 3 are the same recipe")


@pytest.mark.parametrize(("difference", "sd"), [(1.0, 1.0), (0.5, 0.8), (2.0, 1.0), (-0.7, 1.3)])
def test_replicates_agree_with_statsmodels(difference, sd):
    needed = NormalIndPower().solve_power(
        effect_size=abs(difference) / sd, alpha=0.1, power=0.8, alternative="two-sided"
    )
    assert replicates_to_tell(difference, sd) == int(np.ceil(needed - 1e-3))


def test_no_number_of_replicates_where_none_of_fifty_would_tell():
    assert replicates_to_tell(0.01, 1.0) is None
    assert replicates_to_tell(0.0, 1.0) is None
    assert replicates_to_tell(np.nan, 1.0) is None


def two_peaks() -> tuple[Plan, pd.DataFrame]:
    """Level a peaks at x = 8 with 5; level b peaks at x = 2 with 3."""
    plan = Plan.from_dict(
        {
            "name": "levels",
            "variables": {
                "kind": {"kind": "choice", "levels": ["a", "b"]},
                "x": {"kind": "continuous", "low": 0, "high": 10, "step": 1},
            },
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    x = np.tile(np.arange(11.0), 2)
    kind = np.repeat(np.array(["a", "b"], dtype=object), 11)
    y = np.where(kind == "a", 5 - 0.1 * (x - 8) ** 2, 3 - 0.1 * (x - 2) ** 2)
    return plan, pd.DataFrame({"kind": kind, "x": x, "y": y, "status": "measured"})


def test_partial_recipes_are_taken_at_their_best():
    plan, trials = two_peaks()
    result = compare(plan, trials, a={"kind": "a"}, b={"kind": "b"}, seed=0)
    assert result.score.mean == pytest.approx(2.0, abs=0.15)
    assert result.probability > 0.95
    whole = compare(plan, trials, a={"kind": "a", "x": 2}, b={"kind": "b", "x": 2}, seed=0)
    assert whole.score.mean == pytest.approx((5 - 3.6) - 3, abs=0.15)
    assert whole.probability < 0.05
    assert whole.text.startswith("Kind b beats kind a with probability")


@pytest.mark.parametrize("side", [{}, {"nothing": 1}, {"kind": "c"}])
def test_what_is_no_recipe_is_refused(side):
    plan, trials = two_recipes(1.0, 5, seed=1)
    with pytest.raises(RecipeError):
        compare(plan, trials, a=side, b={"kind": "a"})


@pytest.mark.parametrize("whole", [True, False])
def test_a_number_may_lie_off_its_steps_but_not_outside_its_limits(whole):
    plan, trials = two_peaks()
    kind = {"kind": "a"} if whole else {}
    result = compare(plan, trials, a={**kind, "x": 4.5}, b={**kind, "x": "6.5"}, seed=0)
    assert (result.a["x"], result.b["x"]) == (4.5, 6.5)
    # Level a is the better one at either x: 5 - 0.1 (4.5 - 8)² less 5 - 0.1 (6.5 - 8)².
    assert result.score.mean == pytest.approx(-1.0, abs=0.15)
    assert "x 6.5 beats" in result.text.lower()
    for wrong in (-0.5, 10.5, float("nan"), "much", None):
        with pytest.raises(RecipeError, match="0 to 10"):
            compare(plan, trials, a={**kind, "x": 5}, b={**kind, "x": wrong}, seed=0)


def test_a_setting_that_was_measured_outside_the_limits_is_no_mistake():
    plan, trials = two_peaks()
    trials.loc[len(trials)] = ["a", 11.0, 4.0, "measured"]
    assert compare(plan, trials, a={"kind": "a", "x": 11}, b={"kind": "a", "x": 8}).a["x"] == 11


def test_levels_are_compared_the_best_one_first():
    plan, trials = two_peaks()
    (result,) = compare_levels(plan, trials, seed=0)
    assert (result.a, result.b) == ({"kind": "a"}, {"kind": "b"})
    alone = compare(plan, trials, a=result.a, b=result.b, seed=0)
    assert result.score == alone.score
    assert result.text == alone.text
    assert compare_levels(plan, trials.iloc[:0]) == []


def test_the_caller_may_name_the_two():
    plan, trials = two_recipes(3.0, 10, seed=2)
    result = compare(
        plan, trials, a={"kind": "a"}, b={"kind": "b"}, names=("cone 1", "cone 2"), seed=0
    )
    assert result.text.startswith("Cone 1 beats cone 2")
