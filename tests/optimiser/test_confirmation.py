"""What a confirmation run must show, and how often that errs."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import special
from statsmodels.stats.power import normal_sample_size_one_tail

from experiments.plan import Plan
from optimiser import fit
from optimiser.confirmation import chance_to_prove, plan_confirmation, reach, tolerance_factor


@pytest.mark.parametrize(
    ("count", "content", "confidence", "published"),
    [
        # One-sided tolerance factors: Hahn & Meeker 1991, table A.12, and ISO 16269-6, annex C
        # (mean and standard deviation unknown); from memory.
        (3, 0.90, 0.95, 6.155),
        (5, 0.90, 0.95, 3.407),
        (10, 0.90, 0.95, 2.355),
        (20, 0.90, 0.95, 1.926),
        (5, 0.95, 0.95, 4.203),
        (10, 0.95, 0.95, 2.911),
        (10, 0.99, 0.95, 3.981),
        # NIST/SEMATECH e-Handbook, 7.2.6.3, exact value of its example; from memory.
        (43, 0.90, 0.99, 1.874),
    ],
)
def test_tolerance_factors_are_the_published_ones(count, content, confidence, published):
    assert tolerance_factor(count, content, confidence) == pytest.approx(published, abs=1e-3)


def test_nine_of_ten_prints_pass_one_time_in_twenty():
    # Where just 0.9 of the prints keep the limit, the rule lets 5 % of the runs pass: counted.
    rng = np.random.default_rng(5)
    for count in (3, 5, 12):
        run = rng.standard_normal((40_000, count)) + special.ndtri(0.9)
        factor = tolerance_factor(count)
        passed = np.mean(run.mean(axis=1) >= factor * run.std(axis=1, ddof=1))
        assert passed == pytest.approx(0.05, abs=0.005)
        stated = chance_to_prove(np.array(special.ndtri(0.9)), count, factor)
        assert stated == pytest.approx(0.05, abs=1e-6)


def test_the_chance_to_prove_a_limit_is_that_of_simulated_runs():
    rng = np.random.default_rng(6)
    run = rng.standard_normal((40_000, 5)) + 4.0
    factor = tolerance_factor(5)
    passed = np.mean(run.mean(axis=1) >= factor * run.std(axis=1, ddof=1))
    assert chance_to_prove(np.array(4.0), 5, factor) == pytest.approx(passed, abs=0.01)
    never, always = chance_to_prove(np.array([-np.inf, np.inf]), 5, factor)
    assert never < 1e-12
    assert always > 1 - 1e-12


LINE = Plan.from_dict(
    {
        "name": "line",
        "variables": {"x": {"kind": "integer", "low": 0, "high": 4}},
        "metrics": {
            "y": {"from": "hand", "goal": "maximise"},
            "mass": {"from": "hand", "unit": "g", "goal": "watch", "limit": "<= 3"},
        },
    }
)


def line_model(mass=2.0):
    rng = np.random.default_rng(1)
    x = np.repeat(np.arange(5), 5)
    trials = pd.DataFrame(
        {
            "x": x,
            "y": x + rng.standard_normal(25),
            "mass": mass * np.exp(0.05 * rng.standard_normal(25)),
            "status": "measured",
        }
    )
    return fit(LINE, trials, seed=0)


def known(model, level, mass=2.0):
    """Give functions that all say the same of the recipe."""
    return {"y": np.full((512, 1), level), "mass": np.full((512, 1), mass)}


@pytest.mark.parametrize("ahead", [0.6, 0.9])
def test_the_run_is_as_large_as_the_usual_formula_asks(ahead):
    # One-sided normal sample size, statsmodels: size 0.05, power 0.8 (NIST 7.2.2.2, from memory).
    model = line_model()
    run = plan_confirmation(model, known(model, 10.0, mass=1.0), 10.0 - ahead, seed=0)
    expected = normal_sample_size_one_tail(ahead, 0.8, 0.05, std_null=run.sd)
    assert run.decides
    # The spread is averaged over its posterior, which asks for a little more.
    assert max(expected - 0.5, 3) <= run.cones <= max(1.25 * expected + 1, 3)
    assert run.fails == pytest.approx(0.95, abs=0.002)
    assert run.caught == pytest.approx(run.rival, abs=0.01)
    assert run.passes >= 0.75


def test_a_rival_as_good_is_not_told_and_the_run_says_what_it_catches():
    model = line_model()
    run = plan_confirmation(model, known(model, 10.0), 9.99, seed=0)
    assert not run.decides
    assert run.cones == 5
    assert run.fails < 0.1
    assert run.caught < run.threshold < 10.0
    assert np.interp(run.caught, run.curve["score"], run.curve["passes"]) == pytest.approx(
        0.05, abs=0.01
    )
    assert plan_confirmation(model, known(model, 10.0), float("nan"), seed=0).cones == 5


def test_a_limit_that_prints_hardly_keep_is_seldom_proven():
    model = line_model()
    free = plan_confirmation(model, known(model, 10.0, mass=1.5), 8.0, seed=0)
    near = plan_confirmation(model, known(model, 10.0, mass=2.85), 8.0, seed=0)
    assert free.proves
    assert not near.proves
    (proof,) = near.limits
    assert proof.log
    assert proof.limit == "<= 3"
    assert proof.passes < 0.5
    assert near.passes <= proof.passes + 0.05
    assert free.limits[0].passes > 0.95 > near.limits[0].passes + 0.4
    # The mean must keep the limit, from below, by the factor's standard deviations.
    assert near.limits[0].bar < 3.0


def test_a_limit_that_few_cones_cannot_prove_gets_more():
    # The mean is 3.6 standard deviations inside; 5 cones of k = 3.407 would often miss that.
    model = line_model()
    run = plan_confirmation(model, known(model, 10.0, mass=2.5), 9.99, seed=0)
    assert not run.decides
    assert run.proves
    assert 5 < run.cones <= 20
    assert run.limits[0].passes >= 0.8
    fewer = tolerance_factor(run.cones - 1)
    assert fewer > run.limits[0].factor


def test_reach_is_a_normal_probability_averaged_over_errors():
    assert reach(1.0, 0.0, np.array([1.0])) == pytest.approx(special.ndtr(1.0))
    both = (special.ndtr(1.0) + special.ndtr(0.5)) / 2
    assert reach(1.0, 0.0, np.array([1.0, 2.0])) == pytest.approx(both)


def test_of_a_metric_to_minimise_the_run_stays_under_its_threshold():
    keys = LINE.to_dict()
    keys["metrics"] = {"y": {"from": "hand", "goal": "minimise"}}
    x = np.repeat(np.arange(5), 5)
    y = -x + np.random.default_rng(1).standard_normal(25)
    model = fit(Plan.from_dict(keys), pd.DataFrame({"x": x, "y": y, "status": "measured"}))
    run = plan_confirmation(model, {"y": np.full((512, 1), -10.0)}, 8.0, seed=0)
    assert run.rival == -8.0
    assert -10.0 < run.threshold < -8.0
    assert run.passes > 0.75
    assert run.curve["passes"].iloc[0] < 0.01
