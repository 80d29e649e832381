"""Functions drawn from the posterior, against its exact moments."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.space import Space
from optimiser import fit
from optimiser.paths import DrawnFunctions, Paths
from tests.functions import hartmann6_problem


@pytest.fixture(scope="module")
def model():
    problem = hartmann6_problem()
    return fit(problem.plan, problem.trials(25, 0.1, seed=1), seed=0)


def test_moments_agree_with_the_exact_posterior(model):
    process = model.metrics["y"].process
    query = model.encoding(Space(model.plan).sample(60, seed=4))
    drawn = np.concatenate([Paths(process, seed=seed, each=32)(query) for seed in range(4)])
    mean, variance = process.predict(query)
    exact_sd = np.sqrt(variance.mean(axis=0) + mean.var(axis=0))
    np.testing.assert_array_less(np.abs(drawn.mean(axis=0) - mean.mean(axis=0)), 0.25 * exact_sd)
    np.testing.assert_allclose(drawn.std(axis=0), exact_sd, rtol=0.25)
    assert np.mean(drawn.std(axis=0) / exact_sd) == pytest.approx(1.0, abs=0.06)


def test_joint_moments_agree_too(model):
    process = model.metrics["y"].process
    query = model.encoding(Space(model.plan).sample(8, seed=4))
    drawn = np.concatenate([Paths(process, seed=seed, each=64)(query) for seed in range(4)])
    mean, covariance = process.joint(query)
    total = covariance.mean(axis=0) + np.cov(mean.T, bias=True)
    found = np.cov(drawn.T) / process.scale_**2
    scale = np.sqrt(np.outer(np.diag(total), np.diag(total)))
    np.testing.assert_allclose(found / scale, total / scale, atol=0.12)


def test_choices_and_conditions_have_the_right_prior_covariance(mixed_plan):
    # Far from data the drawn functions must follow the kernel itself.
    space = Space(mixed_plan)
    recipes = space.sample(40, seed=1)
    trials = recipes.assign(limit=8.0 + 0.01 * np.arange(40), loss=1.0, tone=80.0)
    trials["status"] = "measured"
    process = fit(mixed_plan, trials.iloc[:3], seed=0).metrics["limit"].process
    query = process.encoding(space.sample(12, seed=7))
    drawn = np.concatenate([Paths(process, seed=seed, each=64)(query) for seed in range(8)])
    mean, covariance = process.joint(query)
    total = covariance.mean(axis=0) + np.cov(mean.T, bias=True)
    found = np.cov(drawn.T) / process.scale_**2
    scale = np.sqrt(np.outer(np.diag(total), np.diag(total)))
    np.testing.assert_allclose(found / scale, total / scale, atol=0.15)


def test_same_seed_same_functions(model):
    query = model.encoding(Space(model.plan).sample(5, seed=4))
    first = DrawnFunctions(model, "y", seed=3)(query)
    np.testing.assert_array_equal(first, DrawnFunctions(model, "y", seed=3)(query))
    assert not np.array_equal(first, DrawnFunctions(model, "y", seed=4)(query))


def test_a_function_does_not_depend_on_what_it_is_valued_with(mixed_plan):
    space = Space(mixed_plan)
    recipes = space.sample(20, seed=1)
    trials = recipes.assign(limit=8.0 + 0.01 * np.arange(20), loss=1.0, tone=80.0)
    fitted = fit(mixed_plan, trials.assign(status="measured"), seed=0)
    many = fitted.encoding(space.sample(300, seed=4))  # more than are valued at a time
    whole = DrawnFunctions(fitted, "limit", seed=3)(many)
    few = DrawnFunctions(fitted, "limit", seed=3)(many.take(slice(250, 260)))
    np.testing.assert_allclose(whole[:, 250:260], few, rtol=1e-6)
    thinned = DrawnFunctions(fitted, "limit", seed=3, every=4)(many)
    np.testing.assert_allclose(thinned, whole[::4], rtol=1e-6)
