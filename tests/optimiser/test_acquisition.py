"""Noisy expected improvement."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
from scipy import stats

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit
from optimiser.acquisition import NoisyImprovement, log_expected_improvement
from optimiser.covariance import Covariance
from optimiser.kernels import separations
from tests.functions import branin_problem, hartmann6_problem


@pytest.mark.parametrize("z", [3.0, 0.5, -0.5, -1.0, -5.0, -30.0, -900.0, -5000.0])
def test_log_expected_improvement_to_many_digits(z):
    # mpmath, 60 digits: log(φ(z) + z Φ(z)), the definition.
    with mpmath.workdps(2000 if z < -100 else 60):
        phi = mpmath.exp(-(mpmath.mpf(z) ** 2) / 2) / mpmath.sqrt(2 * mpmath.pi)
        exact = mpmath.log(phi + z * mpmath.erfc(-mpmath.mpf(z) / mpmath.sqrt(2)) / 2)
        expected = float(exact)
    ours = log_expected_improvement(np.array(1.0 + 2.0 * z), np.array(2.0), np.array(1.0))
    assert float(ours) - np.log(2.0) == pytest.approx(expected, rel=1e-6)


def test_without_noise_it_is_expected_improvement_over_the_best_value():
    problem = branin_problem()
    trials = problem.trials(12, 0.0, seed=1)
    model = fit(problem.plan, trials, seed=0)
    known = model.encoding(trials)
    process = model.metrics["y"].process
    covariance = Covariance(*separations(model.encoding, known, known), [], np.ones(12))
    silent = process.sets_.copy()
    silent[:, -1] = -16.0
    process._condition(covariance, silent)
    ours = NoisyImprovement(model, known, seed=0)
    query = model.encoding(Space(problem.plan).sample(40, seed=8))
    mean, variance = process.predict(query)
    sd = np.sqrt(variance)
    seen = trials["y"].to_numpy(dtype=float)
    best = np.log(seen).min() if model.metrics["y"].log else seen.min()
    z = (best - mean) / sd
    classic = (sd * (stats.norm.pdf(z) + z * stats.norm.cdf(z))).mean(axis=0)
    found = np.exp(ours.log_value(query))
    order = np.argsort(-classic)[:5]
    np.testing.assert_allclose(found[order], classic[order], rtol=0.01)


def test_gain_by_sampling_agrees_with_the_closed_form():
    problem = hartmann6_problem()
    trials = problem.trials(20, 0.1, seed=1)
    model = fit(problem.plan, trials, seed=0)
    ours = NoisyImprovement(model, model.encoding(trials), seed=0, incumbents=64)
    query = model.encoding(Space(problem.plan).sample(200, seed=8))
    exact = np.exp(ours.log_value(query))
    best = np.argsort(-exact)[:20]
    sampled = ours.gain(query).mean(axis=0)
    assert sampled[best].sum() == pytest.approx(exact[best].sum(), rel=0.1)


def test_a_known_recipe_promises_nothing_and_a_pending_one_lowers_its_surroundings():
    problem = hartmann6_problem()
    trials = problem.trials(20, 0.1, seed=1)
    model = fit(problem.plan, trials, seed=0)
    query = Space(problem.plan).sample(200, seed=8)
    points = model.encoding(query)
    before = NoisyImprovement(model, model.encoding(trials), seed=0)
    best = int(np.argmax(before.log_value(points)))
    spot = model.encoding(query.iloc[[best]])
    after = NoisyImprovement(model, model.encoding(trials) + spot, seed=0)
    assert after.log_value(spot)[0] < before.log_value(spot)[0] - 3
    assert (
        NoisyImprovement(model, model.encoding(trials), seed=0)
        .log_value(model.encoding(trials))
        .max()
        < before.log_value(points).max()
    )


def test_a_score_of_desirabilities_that_are_linear_agrees_with_the_metric_itself():
    # With poor and good far outside the values, the score is a straight line in the metric.
    problem = branin_problem()
    trials = problem.trials(15, 0.05, seed=3)
    data = problem.plan.to_dict()
    data["metrics"]["y"] |= {"unit": "dB"}  # or the metric itself would be its logarithm
    plain = fit(Plan.from_dict(data), trials, seed=0)
    data["metrics"]["y"] |= {"poor": 1000.0, "good": -1000.0}
    model = fit(Plan.from_dict(data), trials, seed=0)
    query = Space(problem.plan).sample(100, seed=8)
    ours = NoisyImprovement(model, model.encoding(trials), seed=0, incumbents=64)
    theirs = NoisyImprovement(plain, plain.encoding(trials), seed=0, incumbents=64)
    gain = ours.gain(model.encoding(query)).mean(axis=0) * 2000.0
    exact = np.exp(theirs.log_value(plain.encoding(query)))
    best = np.argsort(-exact)[:10]
    np.testing.assert_allclose(gain[best], exact[best], rtol=0.3)


def test_no_model_no_acquisition():
    problem = branin_problem()
    model = fit(problem.plan, problem.trials(2), seed=0)
    with pytest.raises(ValueError, match="no model"):
        NoisyImprovement(model, model.encoding(problem.trials(2)))
