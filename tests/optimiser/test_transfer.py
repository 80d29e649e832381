"""Learning from an earlier experiment, against scikit-learn and an explicit two-output kernel."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import linalg, optimize
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from experiments.space import Space
from optimiser.encoding import Encoding, Points
from optimiser.process import EnsembleProcess
from optimiser.transfer import Agreement, InformedProcess, Observations, learn_from_both
from tests.functions import hartmann6_problem

PROBLEM = hartmann6_problem()
SPACE = Space(PROBLEM.plan)
ENCODING = Encoding(SPACE)
ORIGIN, SIGNAL, NOISE, OFFSET, EXTRA = 6, 7, 8, 9, 10
NONE = -30.0


def seen(count: int, seed: int, *, shift: float = 0.0, factor: float = 1.0) -> Observations:
    """Observe Hartmann 6 at spread recipes, a cone each."""
    recipes = SPACE.sample(count, seed=seed)
    values = factor * PROBLEM.measure(recipes, 0.1, seed) + shift
    labels = np.arange(count)
    return Observations(ENCODING(recipes), values, labels, np.zeros(count, dtype=int), labels)


def both(own: int = 8, theirs: int = 15, **changed: float) -> InformedProcess:
    process = InformedProcess(ENCODING.with_origin(), seen(theirs, 5, **changed), draws=4, seed=1)
    return process.fit(*seen(own, 2))


def fixed(process: InformedProcess, **values: float) -> InformedProcess:
    """Condition on hyperparameters of which some are set."""
    places = {"origin": ORIGIN, "offset": OFFSET, "extra": EXTRA}
    sets = process.sets_.copy()
    for name, value in values.items():
        sets[:, places[name]] = value
    process._condition(process.covariance_, sets)
    return process


def query() -> Points:
    return ENCODING(SPACE.sample(25, seed=9))


def peer(process: EnsembleProcess, draw: int, noise: np.ndarray) -> GaussianProcessRegressor:
    theta = process.sets_[draw]
    kernel = ConstantKernel(np.exp(theta[-4 if len(theta) > 9 else 6])) * Matern(
        np.exp(theta[:6]), nu=2.5
    ) + ConstantKernel(1.0)
    return GaussianProcessRegressor(kernel, alpha=noise, optimizer=None)


def agrees(process: InformedProcess, rows: slice) -> None:
    """Compare with scikit-learn on some of the rows."""
    mean, variance = process.predict(query())
    for draw in range(process.draws):
        noise = np.full(len(process.outputs_[rows]), np.exp(process.sets_[draw, NOISE]) + 1e-8)
        theirs = peer(process, draw, noise).fit(
            process.points_.numbers[rows], process.outputs_[rows]
        )
        their_mean, their_sd = theirs.predict(query().numbers, return_std=True)
        ours = (mean[draw] - process.centre_) / process.scale_
        np.testing.assert_allclose(ours, their_mean, rtol=1e-6, atol=1e-8)
        np.testing.assert_allclose(
            np.sqrt(variance[draw]) / process.scale_, their_sd, rtol=1e-5, atol=1e-7
        )


def test_full_agreement_is_one_table_as_scikit_learn_sees_it():
    agrees(fixed(both(), origin=12.0, offset=NONE, extra=NONE), slice(None))


def test_no_agreement_is_our_table_alone():
    agrees(fixed(both(), origin=-3.0), slice(0, 8))


def test_partial_agreement_is_the_coregionalised_kernel():
    # Bonilla, Chai & Williams 2008: cov = A[o, o'] k(x, x') with k from scikit-learn's algebra,
    # and for the earlier rows an offset of their own and more noise.
    process = fixed(both(), origin=0.4, offset=-1.5, extra=-2.0)
    origin = process.points_.levels[:, -1]
    alike = np.exp(-np.exp(-0.8))
    task = np.where(origin[:, None] == origin[None, :], 1.0, alike)
    mean, variance = process.predict(query())
    for draw in range(process.draws):
        theta = process.sets_[draw]
        kernel = ConstantKernel(np.exp(theta[SIGNAL])) * Matern(np.exp(theta[:6]), nu=2.5)
        kernel = kernel + ConstantKernel(1.0)
        total = task * kernel(process.points_.numbers)
        total += np.exp(-1.5) * np.outer(origin, origin)
        total += np.diag(np.exp(theta[NOISE]) + 1e-8 + np.exp(-2.0) * origin)
        cross = kernel(query().numbers, process.points_.numbers) * np.where(origin, alike, 1.0)
        weights = linalg.solve(total, cross.T, assume_a="pos").T
        np.testing.assert_allclose(
            (mean[draw] - process.centre_) / process.scale_, weights @ process.outputs_, rtol=1e-6
        )
        np.testing.assert_allclose(
            variance[draw] / process.scale_**2,
            np.diag(kernel(query().numbers)) - np.sum(weights * cross, axis=1),
            rtol=1e-6,
        )


def test_gradient_of_the_joint_posterior_agrees_with_finite_differences():
    process = both()
    for place in (process.sets_[0], process.sets_[-1] * 0.5):
        slope = process.covariance_.log_posterior(place[None, :], process.outputs_)[1][0]
        numeric = optimize.approx_fprime(
            place,
            lambda x: process.covariance_.log_posterior(x[None, :], process.outputs_)[0][0],
            1e-6,
        )
        np.testing.assert_allclose(slope, numeric, rtol=1e-3, atol=1e-3)


def test_leaving_a_cone_out_keeps_the_earlier_ones():
    process = both()
    left = process.leave_out()
    assert left.mean.shape == (4, 8)
    total = process.covariance(process.points_, process.points_) + np.stack(
        [process.noise(draw) for draw in range(4)]
    )
    others = np.arange(23) != 3
    for draw in range(4):
        weights = np.linalg.solve(total[draw][np.ix_(others, others)], total[draw][others, 3])
        assert left.mean[draw, 3] == pytest.approx(weights @ process.outputs_[others], rel=1e-6)


def test_sets_without_the_earlier_experiment_foretell_as_without_it():
    process = both()
    alone = process.alone_
    assert alone is not None
    sets = process._mapped(alone.sets_, alone, -3.0)
    process._condition(process.covariance_, sets)
    for ours, theirs in zip(process.predict(query()), alone.predict(query()), strict=True):
        np.testing.assert_allclose(ours, theirs, rtol=1e-6, atol=1e-9)


def error(process: EnsembleProcess) -> float:
    truth = PROBLEM.measure(SPACE.sample(200, seed=99))
    mean, _ = process.predict(ENCODING(SPACE.sample(200, seed=99)))
    return float(np.sqrt(np.mean((mean.mean(axis=0) - truth) ** 2)))


def test_an_earlier_experiment_on_another_rig_helps_and_its_offset_does_not_matter():
    own = seen(12, 3)
    alone = error(EnsembleProcess(ENCODING, seed=0).fit(*own))
    for shift in (0.0, 1.0):
        process, agreement = learn_from_both(ENCODING, own, seen(60, 5, shift=shift), 0)
        assert error(process) < 0.8 * alone
        assert isinstance(process, InformedProcess)
        assert agreement.high > 0.9
        assert process.novelty_.shape == (16,)


def test_an_opposite_experiment_does_not_count():
    own = seen(12, 2)
    process, agreement = learn_from_both(ENCODING, own, seen(60, 5, factor=-1.0), 0)
    assert error(process) <= 1.1 * error(EnsembleProcess(ENCODING, seed=0).fit(*own))
    assert agreement.low == 0.0


@pytest.mark.parametrize("own", [0, 1, 2, 3])
def test_few_or_no_cones_of_our_own_still_foretell(own):
    process, agreement = learn_from_both(ENCODING, seen(own, 2), seen(20, 5), 0)
    mean, variance = process.predict(query())
    assert np.isfinite(mean).all()
    assert (variance > 0).all()
    assert process.leave_out().mean.shape == (16, own)
    assert agreement.high - agreement.low > 0.3


def test_more_than_can_be_learnt_from_are_thinned(monkeypatch):
    monkeypatch.setattr("optimiser.transfer._MOST", 60)  # 300, but for the time that takes
    process, agreement = learn_from_both(ENCODING, seen(4, 2), seen(80, 5), 0)
    assert len(process.outputs_) == 60
    assert isinstance(agreement, Agreement)


def test_known_recipes_and_the_earlier_ones_tell_all():
    process = both()
    told = process.told_by(process.points_.take(slice(0, 8)))
    assert len(told) == 23
    assert told.levels[:, -1].tolist() == [0] * 8 + [1] * 15
