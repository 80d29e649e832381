"""The worth of recipes as a printer makes them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit
from optimiser.appraisal import Appraisal, Made, learnt_limit, worth
from optimiser.tolerance import Straying

KEYS = {
    "name": "bowl",
    "variables": {"x": {"kind": "continuous", "low": 0, "high": 1, "step": 0.05}},
    "metrics": {
        "tone": {"from": "hand", "unit": "dB", "goal": "maximise", "poor": 0, "good": 10},
        "mass": {"from": "hand", "unit": "g", "goal": "minimise", "poor": 4, "good": 1,
                 "limit": "<= 2.5"},
    },
}  # fmt: skip


def model_of(tolerance=0.0, **metrics):
    keys = {**KEYS, "metrics": metrics or KEYS["metrics"]}
    keys["variables"] = {"x": {**KEYS["variables"]["x"], "tolerance": tolerance}}
    plan = Plan.from_dict(keys)
    rng = np.random.default_rng(2)
    recipes = pd.concat([Space(plan).enumerate(21)] * 2, ignore_index=True)
    x = recipes["x"].to_numpy()
    tone = 8 - 20 * (x - 0.6) ** 2 + 0.05 * rng.standard_normal(len(x))
    mass = 1.5 * np.exp(0.8 * x + 0.02 * rng.standard_normal(len(x)))
    trials = recipes.assign(tone=tone, mass=mass, status="measured")
    return fit(plan, trials, seed=0)


TONE = {"tone": {"from": "hand", "unit": "dB", "goal": "maximise"}}


def test_the_mean_of_a_parabola_falls_by_its_curvature():
    # E f(x + d) = f(x) - 20 var(d) for f = 8 - 20 (x - 0.6)^2: exact.
    model = model_of(0.1, **TONE)
    at = pd.DataFrame({"x": [0.4, 0.6]})
    appraise = Appraisal(model, Straying(model.plan, count=32))
    assert appraise(at)[0] == pytest.approx([8 - 0.8 - 0.2, 8 - 0.2], abs=0.05)
    exact = Appraisal(model, Straying(model.plan, count=1))(at)[0]
    assert exact == pytest.approx([7.2, 8.0], abs=0.05)


def test_drawn_functions_agree_with_the_marginal_worth():
    model = model_of(0.08)
    at = pd.DataFrame({"x": [0.1, 0.35, 0.55]})
    straying = Straying(model.plan, count=16)
    made = Made(model, at, straying, seed=0)
    assert made.worth.shape == made.exact.shape == (512, 3)
    # The limit is broken by some prints of the last one only, where a score is 0.
    assert made.worth.mean(axis=0) == pytest.approx(Appraisal(model, straying)(at)[0], abs=0.02)
    assert made.of(1)["tone"].shape == (512, 16)
    again = worth(model, made.of(1)).mean(axis=1)
    np.testing.assert_allclose(made.worth[:, 1], again)


def test_the_share_that_keeps_a_limit_is_that_of_simulated_prints():
    model = model_of(0.1)
    at = pd.DataFrame({"x": [0.55, 0.65]})
    straying = Straying(model.plan, count=64)
    sound = Appraisal(model, straying)(at)[1]
    np.testing.assert_allclose(Appraisal(model, straying).sound(at), sound)
    rng = np.random.default_rng(0)
    # As the trials were made: 1.5 exp(0.8 x) with 2 % of scatter, limit 2.5.
    x = at["x"].to_numpy() + 0.1 * rng.standard_normal((50_000, 2))
    kept = 1.5 * np.exp(0.8 * x + 0.02 * rng.standard_normal(x.shape)) <= 2.5
    assert sound == pytest.approx(kept.mean(axis=0), abs=0.04)
    made = Made(model, at, straying, seed=0)
    assert made.kept(1).mean() == pytest.approx(sound[1], abs=0.01)
    limits = Appraisal(model, straying).limits(at.iloc[[1]])
    assert limits == {"mass": pytest.approx(sound[1], abs=1e-9)}  # nothing failed to print


def test_limits_on_the_learnt_scale():
    model = model_of()
    assert learnt_limit(model, model.plan.metrics["mass"]) == (-1.0, pytest.approx(np.log(2.5)))
    never = model_of(mass={"from": "hand", "unit": "g", "goal": "minimise", "limit": "<= 0"})
    assert learnt_limit(never, never.plan.metrics["mass"]) == (-1.0, -np.inf)
    at = pd.DataFrame({"x": [0.5]})
    assert Appraisal(never, Straying(never.plan, count=1))(at)[1].tolist() == [0.0]


def test_less_is_better_where_the_goal_is_to_minimise():
    model = model_of(mass={"from": "hand", "unit": "g", "goal": "minimise"})
    light, heavy = Appraisal(model, Straying(model.plan, count=1))(pd.DataFrame({"x": [0, 1]}))[0]
    assert 0 > light > heavy


def test_no_recipe_has_no_worth():
    model = model_of()
    value, sound = Appraisal(model, Straying(model.plan, count=1))(pd.DataFrame({"x": []}))
    assert value.shape == sound.shape == (0,)
