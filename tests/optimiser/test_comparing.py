"""Does A beat B."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.stats.power import NormalIndPower
from statsmodels.stats.weightstats import ttost_ind

from experiments.errors import RecipeError
from experiments.plan import Plan
from experiments.space import Space
from optimiser import compare, fit
from optimiser.comparing import compare_levels, power_to_tell, replicates_to_tell
from optimiser.pairing import equivalence
from optimiser.pool import repeatability


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
    assert alone.text.startswith(result.text)
    assert compare_levels(plan, trials.iloc[:0]) == []


def test_the_caller_may_name_the_two():
    plan, trials = two_recipes(3.0, 10, seed=2)
    result = compare(
        plan, trials, a={"kind": "a"}, b={"kind": "b"}, names=("cone 1", "cone 2"), seed=0
    )
    assert result.text.startswith("Cone 1 beats cone 2")


@pytest.mark.parametrize("count", [1, 3, 10])
@pytest.mark.parametrize(("difference", "sd"), [(1.0, 1.0), (0.5, 0.8), (-2.0, 1.0), (0.0, 1.0)])
def test_power_agrees_with_statsmodels(difference, sd, count):
    expected = NormalIndPower().power(abs(difference) / sd, count, 0.1, alternative="two-sided")
    assert power_to_tell(difference, sd, count) == pytest.approx(expected, abs=1e-9)


def test_power_is_unknown_where_nothing_is_known():
    assert np.isnan(power_to_tell(np.nan, 1.0, 3))
    assert np.isnan(power_to_tell(1.0, np.nan, 3))


def test_equivalence_agrees_with_two_one_sided_tests():
    # Draws of the difference of two means as Student's t gives it, flat prior: then the larger
    # tail is the p value of TOST (statsmodels) itself.
    rng = np.random.default_rng(0)
    x, y = 0.2 + rng.standard_normal(30), rng.standard_normal(30)
    test = stats.ttest_ind(x, y)
    spread = (x.mean() - y.mean()) / test.statistic
    draws = x.mean() - y.mean() + spread * stats.t(58).rvs(200_000, random_state=rng)
    for margin in (0.3, 0.6, 1.0):
        expected = ttost_ind(x, y, -margin, margin)[0]
        assert equivalence(draws, margin) == pytest.approx(expected, abs=0.005)
    assert np.isnan(equivalence(draws, np.nan))


@pytest.mark.parametrize(("gap", "equal"), [(0.0, True), (2.5, False)])
def test_two_recipes_are_equal_where_two_one_sided_tests_say_so(gap, equal):
    plan, trials = two_recipes(gap, 25, seed=4)
    model = fit(plan, trials)
    result = compare(plan, trials, a={"kind": "a"}, b={"kind": "b"}, model=model)
    x, y = (trials.loc[trials["kind"] == k, "y"] for k in ("a", "b"))
    margin = repeatability(model)
    assert result.equivalence == pytest.approx(ttost_ind(x, y, -margin, margin)[0], abs=0.05)
    assert (result.equivalence < 0.05) == equal
    assert ("equal within the repeatability" in result.text) == equal


def crossed(noise: float, seed: int, tilt: float = 0.0) -> tuple[Plan, pd.DataFrame]:
    """Two kinds at the same 16 settings of x; a is 1 ahead, the more so the larger x by `tilt`."""
    plan = Plan.from_dict(
        {
            "name": "crossed",
            "variables": {
                "kind": {"kind": "choice", "levels": ["a", "b"]},
                "x": {"kind": "integer", "low": 0, "high": 15},
            },
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    x = np.tile(np.arange(16), 2)
    a = np.repeat([True, False], 16)
    kind = np.where(a, "a", "b").astype(object)
    y = 0.2 * x + a * (1.0 + tilt * (x - 7.5))
    y = y + noise * np.random.default_rng(seed).standard_normal(32)
    return plan, pd.DataFrame({"kind": kind, "x": x, "y": y, "status": "measured"})


@pytest.mark.parametrize("seed", [0, 1, 2])
def test_over_the_same_other_settings_agrees_with_the_paired_t_test(seed):
    plan, trials = crossed(0.5, seed)
    result = compare(plan, trials, a={"kind": "a"}, b={"kind": "b"}, seed=0)
    values = trials.pivot_table(index="x", columns="kind", values="y")
    test = stats.ttest_rel(values["a"], values["b"])
    interval = test.confidence_interval(0.9)
    width = interval.high - interval.low
    found = result.paired.score
    assert found.mean == pytest.approx((values["a"] - values["b"]).mean(), abs=0.25 * width)
    assert found.high - found.low == pytest.approx(width, rel=0.5)
    assert result.paired.difference["y"] == found
    assert result.paired.profiles > 100
    assert "Over the same other settings, averaged, kind a is ahead" in result.text


def test_settings_that_suit_one_and_not_the_other():
    plan, trials = crossed(0.05, 0, tilt=-0.4)
    result = compare(plan, trials, a={"kind": "a"}, b={"kind": "b"}, seed=0)
    paired = result.paired
    # y is 4 - 0.2 x for a, 0.2 x for b: a wants x = 0, where it is 4 ahead, b 15, there 2 ahead.
    assert paired.suits_a["x"] == 0
    assert paired.suits_b["x"] == 15
    assert paired.contrast.mean == pytest.approx(6.0, abs=0.3)
    assert paired.told
    assert paired.share.mean == pytest.approx(10 / 16, abs=0.07)
    assert "Each wants settings of its own" in result.text
    plain = compare(*crossed(0.05, 0), a={"kind": "a"}, b={"kind": "b"}, seed=0)
    assert not plain.paired.told
    assert plain.paired.suits_a == plain.paired.suits_b


def test_a_factorial_agrees_with_its_analysis_of_variance():
    # Box, Hunter & Hunter's pilot plant, 2^3 in duplicate (from memory): effects T 23 and TK 10
    # with a standard error of 1.4 from the pairs (s² = 8, 8 degrees of freedom).
    runs = [(59, 61), (74, 70), (50, 58), (69, 67), (50, 54), (81, 85), (46, 44), (79, 81)]
    y = np.array(runs, dtype=float).T.ravel()
    names = ("t", "c", "k")
    plan = Plan.from_dict(
        {
            "name": "pilot plant",
            "variables": {n: {"kind": "choice", "levels": ["low", "high"]} for n in names},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    order = np.tile(np.arange(8), 2)
    columns = {n: np.where(order >> p & 1, "high", "low") for p, n in enumerate(names)}
    trials = pd.DataFrame(columns).astype(object).assign(y=y, status="measured")
    high = trials["t"] == "high"
    assert y[high].mean() - y[~high].mean() == 23.0
    half = stats.t(8).ppf(0.95) * np.sqrt(8 * (1 / 8 + 1 / 8))
    result = compare(plan, trials, a={"t": "high"}, b={"t": "low"}, seed=0)
    found = result.paired.score
    assert found.mean == pytest.approx(23.0, abs=1.5)
    assert found.high - found.low == pytest.approx(2 * half, rel=0.5)
    # K helps at high T and hurts at low T: T's effect is 33 at high K and 13 at low K.
    assert (result.paired.suits_a["k"], result.paired.suits_b["k"]) == ("high", "low")
    assert result.paired.contrast.mean == pytest.approx(20.0, abs=4.0)
    assert result.paired.told


def test_profiles_are_alike_in_all_that_both_sides_have(mixed_plan):
    recipes = Space(mixed_plan).sample(24, seed=1)
    resin = recipes["process"] == "resin"
    trials = recipes.assign(
        limit=8 + 2.0 * resin + recipes["wall"], loss=1.0, tone=80.0, status="measured"
    )
    result = compare(mixed_plan, trials, {"process": "resin"}, {"process": "filament"}, seed=0)
    assert result.paired.difference["limit"].mean == pytest.approx(2.0, abs=0.2)
    assert "cure_time" in result.paired.suits_a
    assert "nozzle" in result.paired.suits_b
    # Sides that name different variables have no equal other settings.
    other = compare(mixed_plan, trials, {"process": "resin"}, {"wall": 0.8}, seed=0)
    assert other.paired is None
