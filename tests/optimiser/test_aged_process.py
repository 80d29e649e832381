"""The process of moved measurements, against scikit-learn and against normal theory long-hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import linalg
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from experiments.space import Space
from optimiser.aged_process import AgedProcess
from optimiser.encoding import Encoding
from optimiser.process import EnsembleProcess
from tests.functions import hartmann6_problem

ROWS = np.arange(20)


def fitted(drift, own=0.0, rows=ROWS):
    problem = hartmann6_problem()
    recipes = Space(problem.plan).sample(len(rows), seed=2)
    encoding = Encoding(Space(problem.plan))
    y = problem.measure(recipes, 0.1)
    process = AgedProcess(encoding, drift, own, draws=4, seed=1)
    points = encoding(recipes)
    return process.fit(points, y, rows, np.zeros(len(rows), dtype=int), rows), points


def query(points, count=30):
    target = np.random.default_rng(0).random((count, 6))
    return type(points)(target, np.zeros((count, 0), dtype=np.intp))


def kernel_of(process, draw):
    theta = process.sets_[draw]
    lengths = Matern(np.exp(theta[:6]), nu=2.5)
    return ConstantKernel(np.exp(theta[6])) * lengths + ConstantKernel(1.0)


def test_uncertain_moves_of_their_own_are_noise_to_scikit_learn():
    drift = np.diag(np.linspace(0.0, 0.5, 20) ** 2)
    process, points = fitted(drift)
    there = query(points)
    mean, variance = process.predict(there)
    for draw in range(process.draws):
        noise = np.exp(process.sets_[draw, 7]) + 1e-8 + np.diag(drift) / process.scale_**2
        peer = GaussianProcessRegressor(kernel_of(process, draw), alpha=noise, optimizer=None)
        peer.fit(points.numbers, process.outputs_)
        theirs, sd = peer.predict(there.numbers, return_std=True)
        np.testing.assert_allclose(
            mean[draw], process.centre_ + process.scale_ * theirs, rtol=1e-6
        )
        np.testing.assert_allclose(np.sqrt(variance[draw]) / process.scale_, sd, rtol=1e-6)


def test_a_move_that_all_share_is_conditioned_upon_as_normal_theory_has_it():
    process, points = fitted(np.full((20, 20), 0.3**2))
    there = query(points)
    mean, variance = process.predict(there)
    kernel = kernel_of(process, 0)
    total = kernel(points.numbers) + 0.3**2 / process.scale_**2
    total[np.diag_indices(20)] += np.exp(process.sets_[0, 7]) + 1e-8
    cross = kernel(there.numbers, points.numbers)
    hand = cross @ linalg.solve(total, process.outputs_)
    np.testing.assert_allclose(mean[0], process.centre_ + process.scale_ * hand, rtol=1e-6)
    left = kernel.diag(there.numbers) - np.sum(cross.T * linalg.solve(total, cross.T), axis=0)
    np.testing.assert_allclose(variance[0] / process.scale_**2, left, rtol=1e-5)


def test_what_all_share_stays_open_in_each_recipe_and_cancels_between_two():
    process, points = fitted(np.full((20, 20), 0.1**2))
    two = points.take(slice(0, 2))
    _, whole = process.joint(two)
    known = replace(process.covariance_, drift=np.zeros((20, 20)))
    process._condition(known, process.sets_)  # the same hyperparameters, the move well known
    _, sharp = process.joint(two)
    apart = np.array([1.0, -1.0])
    more = process.scale_**2 * (whole - sharp)
    # All but what the recipes' own level takes of it, which is far wider.
    np.testing.assert_allclose(more[:, 0, 0], 0.1**2, rtol=0.1)
    np.testing.assert_allclose(apart @ more @ apart, 0.0, atol=0.02 * 0.1**2)


def test_without_any_uncertainty_it_is_the_plain_process():
    process, points = fitted(np.zeros((20, 20)))
    plain = EnsembleProcess(process.encoding, draws=4, seed=1)
    plain.fit(points, process.centre_ + process.scale_ * process.outputs_, ROWS, 0 * ROWS, ROWS)
    np.testing.assert_allclose(process.predict(points)[0], plain.predict(points)[0], rtol=1e-7)
    np.testing.assert_allclose(process.novelty_, plain.novelty_)


def test_a_new_cones_own_drift_is_part_of_what_a_new_measurement_adds():
    process, _ = fitted(np.zeros((20, 20)), own=0.25)
    noise = process.noise_variance_
    np.testing.assert_allclose(process.novelty_, noise + 0.25 / process.scale_**2)
    assert process.repeatability_ == pytest.approx(
        np.sqrt(process.scale_**2 * noise.mean() + 0.25), rel=1e-6
    )


def test_some_of_the_observations_keep_their_own_moves():
    process, _ = fitted(np.diag(ROWS / 20.0))
    some = process.covariance_.of(np.array([3, 7]))
    np.testing.assert_allclose(some.drift * process.scale_**2, np.diag([0.15, 0.35]))
    assert some.noise(process.sets_).shape == (4, 2, 2)
