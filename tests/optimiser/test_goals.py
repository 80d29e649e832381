"""Desirabilities and the score."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.plan import Plan
from optimiser.goals import Goals, desirability


def plan_of(metrics: dict) -> Plan:
    variables = {"x": {"kind": "continuous", "low": 0, "high": 1}}
    return Plan.from_dict({"name": "goals", "variables": variables, "metrics": metrics})


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
