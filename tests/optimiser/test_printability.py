"""Probability that a recipe prints, against scikit-learn's classifier."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from sklearn.gaussian_process import GaussianProcessClassifier
from sklearn.gaussian_process.kernels import ConstantKernel, Matern

from experiments.space import Space
from optimiser.encoding import Encoding
from optimiser.printability import Printability
from tests.functions import unit_plan


@pytest.fixture(scope="module")
def encoding() -> Encoding:
    return Encoding(Space(unit_plan("two", 2)))


def test_agrees_with_scikit_learn(encoding):
    # GaussianProcessClassifier uses the same Laplace approximation (zero latent mean) and an
    # approximation of the logistic integral that is good to about 0.005.
    frame = Space(unit_plan("two", 2)).sample(40, seed=1)
    printed = (frame["x1"] > 0.4).to_numpy()
    ours = Printability(
        encoding, signals=[3.0], reaches=[1.0], blamed_reaches=[], steepness=[], offset=0.0
    ).fit(encoding(frame[printed]), encoding(frame[~printed]))
    length = np.exp(-0.5 + 0.5 * np.log(2))
    kernel = ConstantKernel(3.0) * Matern(length, nu=2.5)
    peer = GaussianProcessClassifier(kernel, optimizer=None)
    peer.fit(frame.to_numpy(), printed)
    query = Space(unit_plan("two", 2)).sample(50, seed=9)
    theirs = peer.predict_proba(query.to_numpy())[:, 1]
    np.testing.assert_allclose(ours(encoding(query)), theirs, atol=0.01)
    evidence = ours.learnt_[0].evidence[0]
    assert evidence == pytest.approx(peer.log_marginal_likelihood_value_, rel=1e-6)


def test_the_interval_of_many_prints_of_one_recipe_is_a_proportions(encoding):
    """Wilson's interval of a proportion, as scipy has it; the wide prior adds a little."""
    frame = Space(unit_plan("two", 2)).sample(1, seed=1)
    printed, failed = (encoding(pd.concat([frame] * count)) for count in (70, 30))
    model = Printability(encoding, signals=[12.0], reaches=[1.0], blamed_reaches=[], steepness=[])
    (found,) = model.fit(printed, failed).estimate(encoding(frame))
    wanted = stats.binomtest(70, 100).proportion_ci(0.9, "wilson")
    assert (found.low, found.high) == pytest.approx((wanted.low, wanted.high), abs=0.004)
    assert found.mean == pytest.approx(0.7, abs=0.004)
    assert found.cones == 100


def test_far_from_every_print_the_interval_is_wide_and_holds_the_mean(encoding):
    frame = Space(unit_plan("two", 2)).sample(30, seed=1)
    corner = (frame["x1"] < 0.3).to_numpy()
    model = Printability(encoding).fit(encoding(frame[~corner]), encoding(frame[corner]))
    for one, mean in zip(model.estimate(encoding(frame)), model(encoding(frame)), strict=True):
        assert one.low < one.mean == mean < one.high
    assert (
        not Printability(encoding)
        .fit(encoding(frame), encoding(frame[:0]))
        .estimate(encoding(frame[:1]))[0]
        .known
    )


def test_without_failures_everything_prints(encoding):
    frame = Space(unit_plan("two", 2)).sample(5, seed=1)
    model = Printability(encoding).fit(encoding(frame), encoding(frame.iloc[:0]))
    assert model(encoding(frame)).tolist() == [1.0] * 5


def test_one_unlucky_cone_does_not_condemn_its_region_but_many_do(encoding):
    frame = Space(unit_plan("two", 2)).sample(60, seed=1)
    corner = (frame["x1"] < 0.3) & (frame["x2"] < 0.3)
    inside, outside = frame[corner], frame[~corner]
    one = Printability(encoding).fit(encoding(outside), encoding(inside.iloc[:1]))
    all_of_them = Printability(encoding).fit(encoding(outside), encoding(inside))
    spot = encoding(inside.iloc[:1])
    assert one(spot)[0] > 0.5
    assert all_of_them(spot)[0] < 0.3
    far = encoding(frame[(frame["x1"] > 0.7) & (frame["x2"] > 0.7)])
    assert all_of_them(far).min() > 0.8


def test_only_failures_still_leave_a_chance_elsewhere(encoding):
    frame = Space(unit_plan("two", 2)).sample(3, seed=1)
    model = Printability(encoding).fit(encoding(frame.iloc[:0]), encoding(frame))
    chance = model(encoding(Space(unit_plan("two", 2)).sample(20, seed=2)))
    assert np.all((chance > 0.01) & (chance < 0.9))


def test_learns_which_one_of_many_knobs_is_to_blame():
    # Below a quarter of the first of eight axes every print fails, elsewhere none does.
    space = Space(unit_plan("eight", 8))
    encoding = Encoding(space)
    query = space.sample(400, seed=99)
    doomed = (query["x1"] < 0.25).to_numpy()
    chances = []
    for seed in range(4):
        frame = space.sample(40, seed=seed)
        printed = (frame["x1"] >= 0.25).to_numpy()
        model = Printability(encoding).fit(encoding(frame[printed]), encoding(frame[~printed]))
        chances.append(model(encoding(query)))
    chance = np.mean(chances, axis=0)
    assert chance[doomed].mean() < 0.25
    assert chance[~doomed].mean() > 0.85
