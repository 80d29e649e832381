"""Functional principal components against other programs and known answers."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.decomposition import PCA
from statsmodels.datasets import elnino
from statsmodels.multivariate.pca import PCA as OtherPCA

from optimiser.curve_components import filled, left_out, principal


@pytest.fixture(scope="module")
def sea():
    """Sea surface temperature over the months of 61 years (NOAA; ships with statsmodels)."""
    return elnino.load_pandas().data.iloc[:, 1:].to_numpy(float)


def test_components_are_those_of_scikit_learn_and_statsmodels(sea):
    found = principal(sea, np.ones(len(sea)), 3)
    theirs = PCA(3).fit(sea)
    scores = theirs.transform(sea)
    alike = np.sign(np.sum(found.scores(sea) * scores, axis=0))
    # Our scores are in the root mean square over the grid of 12 months.
    assert found.scores(sea) * alike == pytest.approx(scores / np.sqrt(12), abs=1e-9)
    share = found.variances * 12 * len(sea) / (len(sea) - 1)
    assert share == pytest.approx(theirs.explained_variance_, rel=1e-9)
    other = OtherPCA(sea, ncomp=3, standardize=False)
    assert found.curves(found.scores(sea)) == pytest.approx(other.projection, abs=1e-9)


def test_shapes_are_the_singular_vectors(sea):
    found = principal(sea, np.ones(len(sea)), 4)
    _, _, vectors = np.linalg.svd(sea - sea.mean(axis=0), full_matrices=False)
    products = found.shapes @ vectors[:4].T / np.sqrt(12)
    assert np.abs(products) == pytest.approx(np.eye(4), abs=1e-9)


def test_a_cone_heard_three_times_counts_once(sea):
    once = principal(sea, np.ones(len(sea)), 3)
    rows = np.r_[[0, 0, 0], 1 : len(sea)]
    weights = np.where(rows == 0, 1 / 3, 1.0)
    again = principal(sea[rows], weights, 3)
    assert again.mean == pytest.approx(once.mean, abs=1e-9)
    assert again.variances == pytest.approx(once.variances, rel=1e-9)


def test_gaps_are_filled_by_what_the_components_say():
    rng = np.random.default_rng(3)
    x = np.linspace(0, 1, 50)
    whole = rng.normal(size=(20, 2)) @ np.array([np.sin(3 * x), np.cos(5 * x)]) + x
    gappy = whole.copy()
    gappy[:6, 40:] = np.nan
    done = filled(gappy, np.ones(20), 2, rounds=300)
    assert np.abs(done - whole).max() < 0.05
    assert np.abs(whole[:6, 40:] - whole[6:, 40:].mean(axis=0)).max() > 1.0
    assert filled(whole, np.ones(20), 2) is whole


def test_what_is_left_of_a_cone_is_left_by_the_others_alone(sea):
    cones = np.repeat(np.arange(30), 3)[: len(sea)]
    rests = left_out(sea, np.ones(len(sea)), cones, 2)
    own = cones == 4
    theirs = PCA(2).fit(sea[~own])
    wanted = sea[own] - theirs.inverse_transform(theirs.transform(sea[own]))
    assert rests[own] == pytest.approx(wanted, abs=1e-8)


def test_equal_curves_have_no_components():
    found = principal(np.ones((5, 30)), np.ones(5), 3)
    assert len(found.shapes) == 0
    assert found.curves(found.scores(np.ones((2, 30)))) == pytest.approx(np.ones((2, 30)))
