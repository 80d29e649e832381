"""Desirabilities and the score."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.plan import Plan
from optimiser.goals import FAR, Goals, desirability, measured_scores

RISING = {"from": "hand", "goal": "maximise", "poor": 0, "good": 1}


def plan_of(metrics: dict, **top: str) -> Plan:
    variables = {"x": {"kind": "continuous", "low": 0, "high": 1}}
    return Plan.from_dict({"name": "goals", "variables": variables, "metrics": metrics, **top})


def tyre_plan() -> Plan:
    """The four responses of the tyre tread compound of Derringer & Suich (1980), from memory."""
    return plan_of(
        {
            "abrasion": {"from": "hand", "goal": "maximise", "poor": 120, "good": 170},
            "modulus": {"from": "hand", "goal": "maximise", "poor": 1000, "good": 1300},
            "elongation": {"from": "hand", "goal": "target", "poor": [400, 600], "good": 500},
            "hardness": {"from": "hand", "goal": "target", "poor": [60, 75], "good": 67.5},
        }
    )


def test_derringer_suich_tyre_compound():
    # Derringer & Suich (1980), J. Quality Technology 12, the optimum of the worked example, from
    # memory: responses 129.5, 1300, 465.7, 68.0; desirabilities 0.189, 1, 0.656, 0.932; D 0.583.
    plan = tyre_plan()
    values = {"abrasion": 129.5, "modulus": 1300.0, "elongation": 465.7, "hardness": 68.0}
    found = [float(desirability(plan.metrics[name], value)) for name, value in values.items()]
    assert found == pytest.approx([0.189, 1.0, 0.656, 0.932], abs=2e-3)
    score = Goals(plan).score({name: np.array([value]) for name, value in values.items()})
    assert score[0] == pytest.approx(0.583, abs=2e-3)  # the responses are rounded


def test_one_metric_beyond_poor_makes_the_score_zero():
    values = {"abrasion": 150.0, "modulus": 1200.0, "elongation": 390.0, "hardness": 68.0}
    score = Goals(tyre_plan()).score({name: np.array([v]) for name, v in values.items()})
    assert score[0] == 0.0


def test_weights_are_exponents():
    plan = plan_of(
        {
            "a": {"from": "hand", "goal": "maximise", "poor": 0, "good": 1, "weight": 3},
            "b": {"from": "hand", "goal": "minimise", "poor": 1, "good": 0},
        }
    )
    score = Goals(plan).score({"a": np.array([0.5]), "b": np.array([0.2])})
    assert score[0] == pytest.approx((0.5**3 * 0.8) ** 0.25)


def test_shape_bends_the_desirability():
    plan = plan_of({"a": {"from": "hand", "goal": "maximise", "poor": 0, "good": 1, "shape": 2}})
    assert desirability(plan.metrics["a"], 0.5) == pytest.approx(0.25)


def test_a_broken_limit_makes_the_score_zero_even_on_a_watched_metric():
    plan = plan_of(
        {
            "a": {"from": "hand", "goal": "maximise", "poor": 0, "good": 1},
            "b": {"from": "hand", "goal": "watch", "limit": ">= 4.0"},
        }
    )
    goals = Goals(plan)
    score = goals.score({"a": np.array([0.5, 0.5]), "b": np.array([4.0, 3.9])})
    assert score.tolist() == [0.5, 0.0]
    assert goals.needed == ["a", "b"]


def test_a_single_metric_without_poor_and_good_is_its_own_score():
    plan = plan_of({"y": {"from": "hand", "goal": "minimise", "unit": "ms"}})
    goals = Goals(plan)
    assert goals.score({"y": np.array([3.0, -1.0])}).tolist() == [3.0, -1.0]
    assert goals.utility({"y": np.array([3.0, -1.0])}).tolist() == [-3.0, 1.0]
    assert goals.unit == "ms"
    assert goals.sign == -1.0


def test_a_missing_metric_has_no_score():
    values = {"abrasion": np.nan, "modulus": 1200.0, "elongation": 500.0, "hardness": 68.0}
    score = Goals(tyre_plan()).score({name: np.array([v]) for name, v in values.items()})
    assert np.isnan(score[0])


@given(st.floats(0, 400), st.floats(-0.5, 100))
def test_utility_never_falls_while_a_metric_gets_better(value, step):
    plan = tyre_plan()
    rest = {"modulus": 1200.0, "elongation": 480.0, "hardness": 66.0}
    step = abs(step)
    values = {"abrasion": np.array([value, value + step])}
    values |= {name: np.full(2, v) for name, v in rest.items()}
    low, high = Goals(plan).utility(values)
    assert high >= low
    score = Goals(plan).score(values)
    if desirability(plan.metrics["abrasion"], value) > 0.05:
        assert low == pytest.approx(score[0])


def test_positions_run_from_poor_to_good_and_beyond():
    plan = tyre_plan()
    values = {
        "abrasion": np.array([120.0, 170.0, 195.0]),
        "modulus": np.array([850.0, 1150.0, np.nan]),
        "elongation": np.array([500.0, 450.0, 700.0]),
        "hardness": np.array([67.5, 75.0, 60.0]),
    }
    rises = Goals(plan).rises(values)
    np.testing.assert_allclose(rises[:, 0], [0, 1, 1.5])
    np.testing.assert_allclose(rises[:, 1], [-0.5, 0.5, np.nan])
    np.testing.assert_allclose(rises[:, 2], [1, 0.5, -1])
    np.testing.assert_allclose(rises[:, 3], [1, 0, 0], atol=1e-12)


def test_a_broken_limit_puts_a_recipe_far_behind_poor():
    keys = {"from": "hand", "poor": 0, "good": 1}
    plan = plan_of(
        {
            "a": {**keys, "goal": "maximise"},
            "b": {**keys, "goal": "maximise"},
            "heat": {"from": "hand", "goal": "watch", "limit": "< 60"},
        }
    )
    good, heat = np.array([0.9, 0.9]), np.array([50.0, 70.0])
    rises = Goals(plan).rises({"a": good, "b": good, "heat": heat})
    np.testing.assert_allclose(rises[0], 0.9)
    assert (rises[1] < -90).all()


def test_what_a_plan_wants():
    """Watched metrics count only by their limit; metrics without a model not at all."""
    heat = {"from": "hand", "goal": "watch", "limit": "< 60"}
    plan = plan_of({"a": RISING, "gloss": {**heat, "limit": None}, "b": RISING, "heat": heat})
    goals = Goals(plan)
    assert goals.needed == ["a", "b", "heat"]
    assert [metric.name for metric in goals.metrics] == ["a", "b"]
    assert (goals.unit, goals.sign, goals.raw, goals.trade) == ("", 1.0, None, False)
    assert Goals(plan, ["b", "gloss"]).needed == ["b"]
    assert Goals(plan_of({"a": RISING, "b": RISING}, goal="trade")).trade
    falling = {"from": "hand", "goal": "minimise", "poor": 1, "good": 0}
    assert Goals(plan_of({"a": falling})).sign == 1.0  # its score is a desirability


def test_desirability_ends_at_poor_and_good():
    metric = plan_of({"a": RISING}).metrics["a"]
    assert desirability(metric, [-3.0, 0.0, 1.0, 7.0]).tolist() == [0, 0, 1, 1]


def test_a_target_with_one_distance_is_poor_that_far_to_either_side():
    plan = plan_of({"a": {"from": "hand", "goal": "target", "poor": 20, "good": 50}})
    found = desirability(plan.metrics["a"], [25.0, 35.0, 50.0, 65.0, 75.0])
    np.testing.assert_allclose(found, [0, 0.25, 1, 0.25, 0])


def test_the_search_sees_the_score_down_to_the_knee_and_a_way_up_below_it():
    """With a continuous value and slope at 0.05, and never 0."""
    goals = Goals(plan_of({"a": {**RISING, "shape": 2}}))

    def utility(*values):
        return goals.utility({"a": np.array(values)})

    np.testing.assert_allclose(utility(0.051, 0.5, 1.0, 3.0), [0.051**2, 0.25, 1, 1])
    below, knee, above = np.sqrt(utility(0.05 - 1e-7, 0.05, 0.05 + 1e-7))
    assert knee == pytest.approx(0.05)
    assert (knee - below) / 1e-7 == pytest.approx(1, rel=1e-3)
    assert (above - knee) / 1e-7 == pytest.approx(1, rel=1e-3)
    worse = utility(-1e9, -0.5, -0.1, 0.0, 0.04)
    assert 0 < worse[0] < 1e-15
    assert (np.diff(worse) > 0).all()


def test_a_broken_limit_costs_most_of_what_the_search_sees():
    goals = Goals(plan_of({"a": {**RISING, "limit": "< 0.8"}}))
    held, broken, worse = goals.utility({"a": np.array([0.6, 0.9, 0.81])})
    assert held == pytest.approx(0.6)
    assert 0 < worse < broken < 0.1


def test_a_broken_limit_on_a_single_metric_leaves_no_score_and_the_least_utility():
    goals = Goals(plan_of({"y": {"from": "hand", "goal": "minimise", "limit": ">= 2"}}))
    values = {"y": np.array([3.0, 1.0, 8.0])}
    np.testing.assert_array_equal(goals.score(values), [3.0, np.nan, 8.0])
    assert goals.utility(values).tolist() == [-3.0, -8.0, -8.0]


def test_positions_of_wild_values_stay_numbers_and_broken_limits_behind_them():
    goals = Goals(plan_of({"a": {**RISING, "limit": "< 1e6"}, "b": RISING}))
    rises = goals.rises({"a": np.array([-1e9, 1e5, 1e9]), "b": np.array([-1e9, 0.5, 1e9])})
    assert rises.tolist() == [[-FAR, -FAR], [FAR, 0.5], [-FAR, -FAR]]
    draws = goals.rises({"a": np.full((4, 3), 0.2), "b": np.full((4, 3), 0.7)})
    assert draws.shape == (4, 3, 2)
    np.testing.assert_allclose(draws[..., 1], 0.7)


def test_measured_scores_of_a_table():
    """A metric that nobody measured yet leaves the score; one missing in a row leaves none."""
    plan = plan_of({"a": RISING, "b": RISING, "c": RISING})
    table = pd.DataFrame(
        {
            "status": ["measured", "measured", "failed", "measured"],
            "a": [0.5, 0.4, 0.9, np.nan],
            "b": [0.5, 0.9, 0.9, 0.5],
            "c": np.nan,
        }
    )
    np.testing.assert_allclose(measured_scores(plan, table), [0.5, 0.6, np.nan, np.nan])
    table[["a", "b"]] = np.nan
    assert np.isnan(measured_scores(plan, table)).all()
