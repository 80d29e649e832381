"""The process of one metric, against scikit-learn with the same kernel."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

from experiments.space import Space
from optimiser.encoding import Encoding
from optimiser.process import EnsembleProcess, mixture_quantile
from tests.functions import hartmann6_problem


def labels(n: int) -> np.ndarray:
    return np.arange(n)


def fitted(n: int = 20, noise: float = 0.1, **labelled):
    problem = hartmann6_problem()
    recipes = Space(problem.plan).sample(n, seed=2)
    encoding = Encoding(Space(problem.plan))
    y = problem.measure(recipes, noise)
    names = {"cones": labels(n), "sessions": np.zeros(n, dtype=int), "recipes": labels(n)}
    process = EnsembleProcess(encoding, draws=4, seed=1)
    return process.fit(encoding(recipes), y, **(names | labelled)), encoding(recipes), y


def peer_of(process: EnsembleProcess, draw: int) -> GaussianProcessRegressor:
    theta = process.sets_[draw]
    kernel = (
        ConstantKernel(np.exp(theta[6])) * Matern(np.exp(theta[:6]), nu=2.5)
        + ConstantKernel(1.0)
        + WhiteKernel(np.exp(theta[7]) + 1e-8)
    )
    return GaussianProcessRegressor(kernel, alpha=0.0, optimizer=None)


def test_posterior_agrees_with_scikit_learn():
    process, points, _ = fitted()
    target = np.random.default_rng(0).random((30, 6))
    query = type(points)(target, np.zeros((30, 0), dtype=np.intp))
    mean, variance = process.predict(query)
    for draw in range(process.draws):
        peer = peer_of(process, draw).fit(points.numbers, process.outputs_)
        their_mean, their_sd = peer.predict(target, return_std=True)
        np.testing.assert_allclose(
            mean[draw], process.centre_ + process.scale_ * their_mean, rtol=1e-6, atol=1e-9
        )
        noise = np.exp(process.sets_[draw, 7]) + 1e-8
        ours = np.sqrt(variance[draw] / process.scale_**2 + noise)
        np.testing.assert_allclose(ours, their_sd, rtol=1e-6)


def test_many_observations_all_count_though_only_some_teach_the_hyperparameters(monkeypatch):
    monkeypatch.setattr("optimiser.process._LESSON", 60)  # 300, but for the time that takes
    process, points, _ = fitted(70)
    assert process.covariance_.inflation.shape == (60,)
    query = points.take(slice(0, 5))
    peer = peer_of(process, 0)
    peer.alpha = np.where(process.wild_, 99 * process.noise_variance_[0], 0.0)
    peer.fit(points.numbers, process.outputs_)
    mean = process.predict(query)[0][0]
    theirs = process.centre_ + process.scale_ * peer.predict(query.numbers)
    np.testing.assert_allclose(mean, theirs, rtol=1e-6)


def test_leave_one_out_agrees_with_scikit_learn_fitted_without_it():
    # Rasmussen & Williams 2006, section 5.4.2, against refitting without each observation.
    process, points, _ = fitted()
    left = process.leave_out()
    for draw in range(process.draws):
        for row in range(20):
            others = np.arange(20) != row
            peer = peer_of(process, draw).fit(points.numbers[others], process.outputs_[others])
            mean, sd = peer.predict(points.numbers[[row]], return_std=True)
            assert left.mean[draw, row] == pytest.approx(mean[0], rel=1e-6, abs=1e-9)
            assert np.sqrt(left.variance[draw, row]) == pytest.approx(sd[0], rel=1e-6)


def test_repeats_of_one_cone_are_left_out_together():
    cones = labels(20).copy()
    cones[1] = cones[0]
    process, points, _ = fitted(cones=cones)
    assert process.has_cone_
    left = process.leave_out()
    others = np.arange(20) > 1
    # Ours from the definition: condition on the other cones' rows alone.
    for draw in range(process.draws):
        total = process.covariance(points, points)[draw] + process.noise(draw)
        weights = np.linalg.solve(total[np.ix_(others, others)], total[np.ix_(others, [0, 1])]).T
        np.testing.assert_allclose(
            left.mean[draw, :2], weights @ process.outputs_[others], rtol=1e-8
        )


def test_sessions_become_a_random_effect_only_when_the_table_tells_them():
    sessions = np.repeat([0, 1], 10)
    alone, _, _ = fitted(sessions=sessions)
    assert not alone.has_session_
    recipes = labels(20).copy()
    recipes[10] = recipes[0]
    tied, _, _ = fitted(sessions=sessions, recipes=recipes)
    assert tied.has_session_


def test_session_offset_is_learnt():
    problem = hartmann6_problem()
    space = Space(problem.plan)
    encoding = Encoding(space)
    once = space.sample(12, seed=2)
    points = encoding(once) + encoding(once)
    truth = problem.measure(once)
    y = np.concatenate([truth, truth + 0.8]) + 0.01 * np.random.default_rng(1).standard_normal(24)
    recipes = np.tile(np.arange(12), 2)
    process = EnsembleProcess(encoding, seed=0).fit(
        points, y, recipes, np.repeat([0, 1], 12), recipes
    )
    session_sd = np.sqrt(np.exp(process.sets_[:, 8]).mean()) * process.scale_
    assert 0.2 < session_sd < 2.0
    assert np.sqrt(process.noise_variance_.mean()) * process.scale_ < 0.1


def test_one_wild_value_counts_little_and_is_named():
    problem = hartmann6_problem()
    space = Space(problem.plan)
    encoding = Encoding(space)
    recipes = space.sample(30, seed=2)
    y = problem.measure(recipes, 0.05)
    y[7] += 40 * problem.spread
    process = EnsembleProcess(encoding, seed=0).fit(
        encoding(recipes), y, labels(30), np.zeros(30, dtype=int), labels(30)
    )
    assert np.flatnonzero(process.wild_).tolist() == [7]


@pytest.mark.parametrize("factor", [1e-12, 1.0, 1e12])
@pytest.mark.parametrize("shift", [0.0, 5.0])
def test_units_do_not_matter(factor, shift):
    problem = hartmann6_problem()
    recipes = Space(problem.plan).sample(12, seed=2)
    encoding = Encoding(Space(problem.plan))
    y = problem.measure(recipes, 0.1)
    n = labels(12)
    plain = EnsembleProcess(encoding, seed=1).fit(encoding(recipes), y, n, 0 * n, n)
    other = EnsembleProcess(encoding, seed=1).fit(
        encoding(recipes), factor * (y + shift), n, 0 * n, n
    )
    mean, _ = plain.predict(encoding(recipes))
    scaled, _ = other.predict(encoding(recipes))
    np.testing.assert_allclose(scaled / factor - shift, mean, rtol=1e-4, atol=1e-5)


def test_constant_and_single_observations_do_not_fail():
    for n in (1, 2, 9):
        process, points, _ = fitted(3)
        encoding = process.encoding
        few = points.take(np.zeros(n, dtype=np.intp))
        again = EnsembleProcess(encoding, seed=0).fit(
            few, np.full(n, 3.0), labels(n), np.zeros(n, dtype=int), np.zeros(n, dtype=int)
        )
        mean, variance = again.predict(points)
        assert np.all(np.isfinite(mean))
        assert np.all(variance > 0)


def test_mixture_quantile_agrees_with_scipy_on_one_part_and_with_sampling_on_two():
    assert mixture_quantile(np.array([1.0]), np.array([2.0]), 0.95) == pytest.approx(
        stats.norm(1, 2).ppf(0.95), abs=1e-6
    )
    mean, sd = np.array([-3.0, 4.0]), np.array([1.0, 0.5])
    found = float(mixture_quantile(mean, sd, 0.3))
    assert stats.norm(mean, sd).cdf(found).mean() == pytest.approx(0.3, abs=1e-9)
