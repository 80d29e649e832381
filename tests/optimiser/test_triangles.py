"""Factors, inverses and roots against numpy's and scipy's general routines."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import cho_factor, cho_solve

from optimiser.triangles import inverse, inverse_factors, portions, roots, white_height


def matrices(count: int = 3, size: int = 7) -> np.ndarray:
    rng = np.random.default_rng(4)
    half = rng.standard_normal((count, size, size))
    return half @ np.swapaxes(half, 1, 2) + 0.1 * np.eye(size)


NOT_DEFINITE = np.array([[1.0, 2.0], [2.0, 1.0]])


def test_inverse_solution_and_determinant():
    matrix, values = matrices()[0], np.arange(7.0)
    found, solved, log_det = inverse(np.tril(matrix), values)  # the upper triangle is not read
    np.testing.assert_allclose(np.tril(found), np.tril(np.linalg.inv(matrix)), rtol=1e-9)
    np.testing.assert_allclose(solved, cho_solve(cho_factor(matrix), values), rtol=1e-9)
    assert log_det == pytest.approx(np.linalg.slogdet(matrix)[1])
    assert inverse(NOT_DEFINITE, np.ones(2)) is None


def test_height_without_the_inverse():
    matrix, values = matrices()[1], np.arange(7.0)
    expected = -0.5 * values @ np.linalg.solve(matrix, values)
    expected -= 0.5 * np.linalg.slogdet(matrix)[1]
    assert white_height(np.tril(matrix), values) == pytest.approx(expected)
    assert white_height(NOT_DEFINITE, np.ones(2)) == -np.inf


def test_inverse_factors():
    given = matrices()
    found = inverse_factors(given)
    np.testing.assert_allclose(found, np.linalg.inv(np.linalg.cholesky(given)), atol=1e-10)
    with pytest.raises(np.linalg.LinAlgError, match="matrix 0"):
        inverse_factors(NOT_DEFINITE[None])


def test_roots_of_definite_singular_and_nearly_definite_matrices():
    singular = np.ones((4, 4))  # four times one unknown
    below = singular - 1e-12 * np.eye(4)  # a rounding error less
    wide = 3.0 * np.eye(4) + singular
    given = np.stack([wide, singular, below, np.diag([1.0, 1.0, 1.0, -1e-7])])
    found = roots(given, np.ones(4))
    np.testing.assert_allclose(found @ np.swapaxes(found, 1, 2), given, atol=2e-7)


def test_portions_cover_all_once_and_are_small_where_matrices_are_large():
    assert portions(16, 30) == [slice(0, 222)]
    assert [each.start for each in portions(3, 1000)] == [0, 1, 2]
    assert np.concatenate([np.arange(100)[each] for each in portions(100, 60)]).tolist() == [
        *range(100)
    ]
