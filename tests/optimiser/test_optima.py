"""Where the best setting lies."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.errors import RecipeError, TrialsError
from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit, optimum
from tests.functions import branin_problem


def hill(peak: float, count: int, noise: float, seed: int) -> tuple[Plan, pd.DataFrame]:
    """A parabola in cure time with a known peak, and a slope in the wall."""
    plan = Plan.from_dict(
        {
            "name": "hill",
            "variables": {
                "cure": {"kind": "integer", "low": 0, "high": 40, "unit": "min"},
                "wall": {"kind": "continuous", "low": 0.4, "high": 1.2, "step": 0.1},
            },
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    recipes = Space(plan).sample(count, seed=seed)
    rng = np.random.default_rng(seed)
    y = 10 - ((recipes["cure"] - peak) / 10) ** 2 - recipes["wall"]
    return plan, recipes.assign(y=y + noise * rng.standard_normal(count), status="measured")


@pytest.mark.parametrize("peak", [12, 25])
def test_a_known_peak_is_found_inside_its_interval(peak):
    plan, trials = hill(peak, 25, 0.1, seed=1)
    result = optimum(plan, trials, variable="cure", seed=0)
    assert result.low <= peak <= result.high
    assert abs(result.setting - peak) <= 3
    assert result.setting in result.as_good
    assert not result.at_edge
    assert result.curve["probability"].sum() == pytest.approx(1.0)
    assert result.unit == "min"


def test_more_noise_widens_the_interval():
    narrow = optimum(*hill(20, 25, 0.05, seed=1), variable="cure", seed=0)
    wide = optimum(*hill(20, 25, 1.5, seed=1), variable="cure", seed=0)
    assert wide.high - wide.low > narrow.high - narrow.low
    assert len(wide.as_good) > len(narrow.as_good)


def test_no_best_is_named_where_nothing_tells():
    plan, trials = hill(20, 8, 0.1, seed=1)
    noise = np.random.default_rng(5).standard_normal((6, len(trials)))
    found = [optimum(plan, trials.assign(y=y), variable="cure", seed=0) for y in noise]
    silent = [answer for answer in found if answer.setting is None]
    assert len(silent) >= 3
    for answer in silent:
        assert answer.high - answer.low >= 34
        assert answer.text.startswith("Cannot tell yet")
        assert len(answer.curve) > 10


def test_a_best_at_the_end_says_so():
    result = optimum(*hill(60, 25, 0.05, seed=1), variable="cure", seed=0)
    assert result.setting == 40
    assert result.at_edge
    assert "widen the range" in result.text


def test_a_metric_to_minimise_has_its_minimum_found():
    problem = branin_problem()
    result = optimum(problem.plan, problem.trials(60, 0.0, seed=1), variable="x2", seed=0)
    # Branin's three minima lie at x2 = 12.275, 2.275 and 2.475.
    assert min(abs(result.setting - place) for place in (12.275, 2.275, 2.475)) < 1.0
    assert result.curve["mean"].min() < 3


def test_the_choice_of_a_level_comes_without_interval(mixed_plan):
    recipes = Space(mixed_plan).sample(20, seed=1)
    trials = recipes.assign(
        limit=8 + 3.0 * (recipes["process"] == "resin"), loss=1.0, tone=80.0, status="measured"
    )
    result = optimum(mixed_plan, trials, variable="process", seed=0)
    assert result.setting == "resin"
    assert result.low is None
    conditional = optimum(mixed_plan, trials, variable="nozzle", seed=0)
    assert 190 <= conditional.low <= conditional.high <= 250
    assert conditional.setting is None  # nothing depends on it


def two_cures(gap: float, count: int = 30, noise: float = 0.1, seed: int = 1):
    """Two resins of which b wants its cure `gap` minutes later than a, and a wall that matters."""
    plan = Plan.from_dict(
        {
            "name": "two cures",
            "variables": {
                "resin": {"kind": "choice", "levels": ["a", "b"]},
                "cure": {"kind": "integer", "low": 0, "high": 40, "unit": "min"},
                "wall": {"kind": "continuous", "low": 0.4, "high": 1.2, "step": 0.1},
            },
            "metrics": {
                "y": {"from": "hand", "goal": "maximise"},
                "mass": {"from": "hand", "goal": "watch", "unit": "g"},
            },
        }
    )
    recipes = Space(plan).sample(count, seed=seed)
    rng = np.random.default_rng(seed)
    peak = 12 + gap * (recipes["resin"] == "b")
    y = 10 - ((recipes["cure"] - peak) / 10) ** 2 - recipes["wall"]
    y = y + 0.3 * (recipes["resin"] == "a") + noise * rng.standard_normal(count)
    return plan, recipes.assign(y=y, mass=2 + recipes["wall"], status="measured")


def test_it_is_said_where_the_best_differs_between_levels():
    result = optimum(*two_cures(14), variable="cure", seed=0)
    (shift,) = result.shifts
    assert (shift.variable, {shift.a, shift.b}) == ("resin", {"a", "b"})
    sign = -1 if shift.a == "a" else 1
    assert shift.told
    assert shift.difference.low <= sign * 14 <= shift.difference.high
    assert shift.difference.mean == pytest.approx(shift.at_a.mean - shift.at_b.mean)
    for each in (shift.at_a, shift.at_b, shift.difference):
        told = (each.low, each.mean, each.high)
        assert all(value == round(value) for value in told)  # on the knob's steps
        assert list(told) == sorted(told)
    assert shift.at_a.mean == result.setting
    assert "It differs between resin" in result.text


def test_it_is_said_where_the_best_recipe_changes_its_level():
    result = optimum(*two_cures(14), variable="cure", seed=0)
    (switch,) = result.switches
    assert (switch.variable, switch.before, switch.after) == ("resin", "a", "b")
    # The curves of the two levels cross a little above half-way between 12 and 26.
    assert 18 <= switch.last < switch.first <= 22
    assert "the best recipe changes resin from a to b between" in result.text
    assert optimum(*two_cures(14), variable="cure", hold={"resin": "a"}).switches == []
    assert optimum(*two_cures(14), variable="resin").switches == []


def test_it_is_not_said_where_the_best_is_the_same_for_both_levels():
    found = [optimum(*two_cures(0, seed=seed), variable="cure", seed=0) for seed in range(3)]
    assert not any(shift.told for each in found for shift in each.shifts)
    assert all("levels of resin: cannot tell yet" in each.text for each in found)


def test_a_held_level_has_its_own_best_setting():
    plan, trials = two_cures(14)
    model = fit(plan, trials, seed=0)
    for level, peak in (("a", 12), ("b", 26)):
        result = optimum(plan, trials, variable="cure", hold={"resin": level}, model=model)
        assert result.low <= peak <= result.high
        assert abs(result.setting - peak) <= 2
        assert result.hold == {"resin": level}
        assert result.shifts == []
        assert result.text.startswith(f"With resin {level} held: ")
    # Held at a wall that costs 0.8 of the score, the best is so much lower.
    free = optimum(plan, trials, variable="cure", model=model).curve["mean"].max()
    thick = optimum(plan, trials, variable="cure", hold={"wall": "1.2"}, model=model)
    assert free - thick.curve["mean"].max() == pytest.approx(0.8, abs=0.15)


def test_each_metric_is_followed_along_the_best_recipes():
    result = optimum(*two_cures(0), variable="wall", seed=0)
    assert set(result.metrics) == {"y", "mass"}
    mass = result.metrics["mass"]
    np.testing.assert_allclose(mass["mean"], 2 + mass["setting"], atol=0.05)
    assert (mass["low"] <= mass["mean"]).all()
    assert (mass["mean"] <= mass["high"]).all()


@pytest.mark.parametrize(
    ("hold", "wanted"),
    [
        ({"cure": 12}, "other than the one"),
        ({"colour": 1}, "colour"),
        ({"resin": "c"}, "a, b"),
        ({"wall": 0.44}, "the nearest is 0.4"),
        ({"wall": 3}, "0.4 to 1.2"),
    ],
)
def test_what_cannot_be_held_is_refused(hold, wanted):
    plan, trials = two_cures(0, count=6)
    with pytest.raises(RecipeError, match=wanted):
        optimum(plan, trials, variable="cure", hold=hold)


def test_a_knob_that_the_held_level_lacks_is_refused(mixed_plan):
    trials = (
        Space(mixed_plan)
        .sample(8, seed=1)
        .assign(limit=8.0 + np.arange(8), loss=1.0, tone=80.0, status="measured")
    )
    with pytest.raises(RecipeError, match="printable recipe with nozzle"):
        optimum(mixed_plan, trials, variable="nozzle", hold={"process": "resin"})


def test_an_unknown_variable_is_refused():
    plan, trials = hill(20, 5, 0.1, seed=1)
    with pytest.raises(TrialsError, match="'colour'"):
        optimum(plan, trials, variable="colour")
