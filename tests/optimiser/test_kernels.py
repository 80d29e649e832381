"""Covariance between recipes, against scikit-learn's kernels."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.gaussian_process.kernels import Matern

from experiments.space import Space
from optimiser.encoding import Encoding, Points
from optimiser.kernels import matern, matern_and_slope, separations, shape
from tests.functions import unit_plan


def points_of(numbers: np.ndarray) -> Points:
    return Points(numbers, np.zeros((len(numbers), 0), dtype=np.intp))


def test_agrees_with_scikit_learn():
    rng = np.random.default_rng(1)
    encoding = Encoding(Space(unit_plan("three", 3)))
    a, b = rng.random((7, 3)), rng.random((5, 3))
    lengths = np.array([0.2, 0.7, 2.0])
    ours = shape(*separations(encoding, points_of(a), points_of(b)), np.log(lengths)[None, :])[0]
    np.testing.assert_allclose(ours, Matern(lengths, nu=2.5)(a, b), rtol=1e-12)


def test_slope_agrees_with_finite_differences():
    squared = np.linspace(0.01, 9, 50)[None, :]
    step, exponent = 1e-6, np.linspace(0, 2, 50)[None, :]
    numeric = (matern(squared + step, exponent) - matern(squared - step, exponent)) / (2 * step)
    height, slope = matern_and_slope(squared, exponent)
    np.testing.assert_allclose(slope, numeric, rtol=1e-6)
    np.testing.assert_array_equal(height, matern(squared, exponent))


@pytest.mark.parametrize("order", ["C", "F"])
def test_a_matrix_of_many_blocks_is_that_of_its_columns(order):
    squared, exponent = np.random.default_rng(2).random((2, 3, 20_000)) * 4
    whole = matern(np.asarray(squared, order=order), exponent)
    apart = [matern(squared[:, [k]], exponent[:, [k]])[:, 0] for k in range(0, 20_000, 997)]
    np.testing.assert_allclose(whole[:, ::997], np.transpose(apart), rtol=1e-14)


def test_mixed_conditional_covariance_is_positive_semidefinite(mixed_plan):
    space = Space(mixed_plan)
    encoding = Encoding(space)
    points = encoding(space.sample(60, seed=3))
    rng = np.random.default_rng(0)
    sets = rng.normal(0, 1.5, (40, len(encoding.inputs)))
    matrices = shape(*separations(encoding, points, points), sets)
    assert np.linalg.eigvalsh(matrices).min() > -1e-9


def test_a_choice_multiplies_by_its_factor(mixed_plan):
    space = Space(mixed_plan)
    encoding = Encoding(space)
    frame = space.sample(2, seed=0)
    points = encoding(frame)
    same = Points(points.numbers, np.zeros_like(points.levels))
    other = Points(points.numbers, np.array([[0], [1]]))
    sets = np.zeros((1, len(encoding.inputs)))
    sets[0, -1] = np.log(0.8)
    plain = shape(*separations(encoding, same, same), sets)[0, 0, 1]
    apart = shape(*separations(encoding, other, other), sets)[0, 0, 1]
    assert apart / plain == pytest.approx(np.exp(-1 / 0.8**2))
