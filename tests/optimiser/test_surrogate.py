"""Summaries of what the models foretell; the models themselves are tested in test_process."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit
from optimiser.surrogate import estimate
from tests.functions import branin_problem


def test_an_estimate_is_mean_and_quantiles():
    sample = np.random.default_rng(0).normal(3.0, 2.0, 200_000)
    found = estimate(sample, 7)
    assert found.mean == pytest.approx(3.0, abs=0.02)
    assert (found.low, found.high) == pytest.approx(stats.norm.interval(0.9, 3.0, 2.0), abs=0.05)
    assert found.cones == 7


def test_an_interval_holds_a_mean_that_few_draws_carry():
    found = estimate(np.array([0.0] * 98 + [5.0, 5.0]), 4)
    assert found.low == 0.0
    assert found.high == found.mean == pytest.approx(0.1)


def test_draws_that_are_all_missing_tell_nothing():
    assert not estimate(np.array([np.nan, np.nan]), 4).known


def test_means_stay_inside_their_intervals_even_after_a_slip_of_the_pen():
    plan = Plan.from_dict(
        {
            "name": "slip",
            "variables": {"wall": {"kind": "continuous", "low": 0, "high": 1}},
            "metrics": {"mass": {"from": "hand", "unit": "g", "goal": "minimise"}},
        }
    )
    recipes = Space(plan).sample(4, seed=1)
    trials = recipes.assign(mass=[2.3, 2310.0, 2.4, 2.2], status="measured")
    foretold = fit(plan, trials, seed=0).predict(Space(plan).sample(30, seed=2))["mass"]
    assert isinstance(foretold, pd.DataFrame)
    assert (foretold["low"] <= foretold["mean"]).all()
    assert (foretold["mean"] <= foretold["high"]).all()


def test_scores_and_metrics_foretell_the_same_for_a_single_metric():
    problem = branin_problem()
    model = fit(problem.plan, problem.trials(12, 0.5, seed=1), seed=0)
    recipes = Space(problem.plan).sample(20, seed=3)
    foretold = model.predict(recipes)["y"]
    scores = model.predict_score(recipes)
    width = (foretold["high"] - foretold["low"]).to_numpy()
    gap = np.array([score.mean for score in scores]) - foretold["mean"].to_numpy()
    assert np.all(np.abs(gap) < 0.1 * width)
