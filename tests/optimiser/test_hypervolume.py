"""The volume under a front."""

from __future__ import annotations

import moocore
import numpy as np
import pytest

from optimiser.hypervolume import Columns, hypervolume, undominated


def clouds(k: int, n: int, seed: int = 0) -> np.ndarray:
    """Recipes partly worse than poor and partly better than good, 12 draws."""
    return np.random.default_rng([seed, n, k]).normal(0.4, 0.6, (12, n, k))


@pytest.mark.parametrize("k", [2, 3])
@pytest.mark.parametrize("n", [1, 2, 7, 30])
def test_the_volume_is_that_of_an_outside_library(k, n):
    # moocore 0.3: exact hypervolume after Fonseca, Paquete & López-Ibáñez (2006).
    rises = clouds(k, n)
    outside = [moocore.hypervolume(draw, ref=np.zeros(k), maximise=True) for draw in rises]
    np.testing.assert_allclose(hypervolume(rises), outside, atol=1e-12)
    assert np.ptp(outside) > 0.1


@pytest.mark.parametrize("k", [2, 3])
def test_the_front_is_that_of_an_outside_library(k):
    rises = clouds(k, 40).round(1)  # with ties and doubles
    for draw, ours in zip(rises, undominated(rises), strict=True):
        # moocore's keep_weakly: a recipe that another equals in every metric stays too.
        outside = moocore.is_nondominated(draw, maximise=True, keep_weakly=True)
        np.testing.assert_array_equal(ours, outside)
        assert 0 < outside.sum() < 40


@pytest.mark.parametrize("k", [2, 3])
def test_what_a_recipe_adds_is_the_difference_of_two_volumes_outside(k):
    rises, new = clouds(k, 12), clouds(k, 9, seed=1)
    added = Columns.above(rises).added(new)
    for draw, more, ours in zip(rises, new, added, strict=True):
        before = moocore.hypervolume(draw, ref=np.zeros(k), maximise=True)
        after = [
            moocore.hypervolume(np.vstack([draw, one]), ref=np.zeros(k), maximise=True)
            for one in more
        ]
        np.testing.assert_allclose(ours, np.array(after) - before, atol=1e-12)
    assert (added == 0).any()
    assert (added > 0).any()


def test_one_metric_covers_what_its_best_recipe_reaches():
    rises = np.array([[[0.2], [0.7], [-1.0]], [[-0.1], [-0.2], [-3.0]]])
    np.testing.assert_allclose(hypervolume(rises), [0.7, 0.0])
    added = Columns.above(rises).added(np.array([[[0.9], [0.3]], [[0.9], [-0.3]]]))
    np.testing.assert_allclose(added, [[0.2, 0.0], [0.9, 0.0]])


def test_worked_by_hand():
    # Two recipes at (1, 0.5) and (0.5, 1): two half boxes that share a quarter.
    rises = np.array([[[1.0, 0.5], [0.5, 1.0], [0.4, 0.4]]])
    assert hypervolume(rises)[0] == pytest.approx(0.75)
    np.testing.assert_array_equal(undominated(rises), [[True, True, False]])
    # Good in both fills the box; twice as good in one adds beside it, less what is there.
    added = Columns.above(rises).added(np.array([[[1.0, 1.0], [2.0, 0.5], [2.0, -1.0]]]))
    np.testing.assert_allclose(added, [[0.25, 0.5, 0.0]])


@pytest.mark.parametrize("k", [1, 2, 3])
def test_nothing_known_covers_nothing_and_the_unknown_is_passed_over(k):
    assert hypervolume(np.zeros((3, 0, k))).tolist() == [0.0] * 3
    rises = clouds(k, 6)
    with_gap = np.concatenate([rises, np.full((12, 1, k), np.nan)], axis=1)
    np.testing.assert_array_equal(hypervolume(with_gap), hypervolume(rises))
    assert not undominated(with_gap)[:, -1].any()


@pytest.mark.parametrize("k", [2, 3])
def test_the_soft_form_agrees_in_front_and_keeps_a_slope_behind(k):
    above = Columns.above(np.full((1, 1, k), 0.5))
    reach = np.array([0.95, 0.8, 0.55, 0.45, 0.3, 0.1, -0.5])
    points = np.repeat(reach[None, :, None], k, axis=2)
    hard, soft = above.added(points)[0], above.added(points, 1e-4)[0]
    np.testing.assert_allclose(soft[:3], hard[:3], rtol=1e-4)
    assert (hard[3:] == 0).all()
    assert (np.diff(soft) < 0).all()
    assert 0 < soft[3] < 1e-6


def test_some_draws_alone_are_as_they_were():
    rises, new = clouds(2, 8), clouds(2, 5, seed=2)
    above, some = Columns.above(rises), np.array([7, 2])
    np.testing.assert_array_equal(above.take(some).added(new[some]), above.added(new)[some])
