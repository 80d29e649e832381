"""Cholesky factors of many small matrices, without the cost of a general solver.

Thin over LAPACK (Anderson et al. 1999, LAPACK Users' Guide): `potrf` factorises, `trtri` inverts
a triangle, `potri` inverts from the factor.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.linalg import lapack

__all__ = ["inverse", "inverse_factors", "portions", "roots", "white_height"]

Floats = npt.NDArray[np.float64]

_CACHED = 2e5  # numbers of eight bytes that stay in the processor's cache
_ROUNDING = 1e-8  # share of the signal's variance that is less than anything measured


def portions(count: int, n: int) -> list[slice]:
    """Split a number of n by n matrices so that a few stay in the processor's cache."""
    size = max(1, int(_CACHED / max(n * n, 1)))
    return [slice(start, start + size) for start in range(0, count, size)]


def inverse(matrix: Floats, values: Floats) -> tuple[Floats, Floats, float] | None:
    """Invert one symmetric positive definite matrix and solve with it.

    Parameters
    ----------
    matrix : ndarray of shape (n, n)
        Only its lower triangle is read.
    values : ndarray of shape (n,)

    Returns
    -------
    (ndarray of shape (n, n), ndarray of shape (n,), float) or None
        The inverse's lower triangle (the upper one is not set), ``K^-1 y``, the logarithm of the
        determinant; None if the matrix is not positive definite.
    """
    factor, failed = lapack.dpotrf(matrix, lower=1, clean=0)
    if failed:
        return None
    log_det = 2.0 * float(np.log(np.diagonal(factor)).sum())
    solved, _ = lapack.dpotrs(factor, values, lower=1)
    return lapack.dpotri(factor, lower=1, overwrite_c=1)[0], solved, log_det


def white_height(matrix: Floats, values: Floats) -> float:
    """Give ``-y' K^-1 y / 2 - log|K| / 2``; minus infinity if K is not positive definite.

    Only the lower triangle of K is read.
    """
    factor, failed = lapack.dpotrf(matrix, lower=1, clean=0)
    if failed:
        return -np.inf
    white, _ = lapack.dtrtrs(factor, values, lower=1)
    return float(-0.5 * white @ white - np.log(np.diagonal(factor)).sum())


def inverse_factors(matrices: Floats) -> Floats:
    """Invert the Cholesky factor of each matrix.

    Parameters
    ----------
    matrices : ndarray of shape (sets, n, n)
        Symmetric, positive definite.

    Returns
    -------
    ndarray of shape (sets, n, n)
        Lower triangles H with ``H' H`` the inverse of each matrix.

    Raises
    ------
    numpy.linalg.LinAlgError
        One is not positive definite.
    """
    halves = np.empty_like(matrices)
    for place, matrix in enumerate(matrices):
        factor, failed = lapack.dpotrf(matrix, lower=1, clean=1)
        if failed:
            raise np.linalg.LinAlgError(f"matrix {place} is not positive definite")
        halves[place] = lapack.dtrtri(factor, lower=1, overwrite_c=1)[0]
    return halves


def roots(covariances: Floats, signals: Floats) -> Floats:
    """Give square roots of positive semi-definite matrices.

    Parameters
    ----------
    covariances : ndarray of shape (sets, n, n)
    signals : ndarray of shape (sets,)
        Variance against which rounding errors are negligible.

    Returns
    -------
    ndarray of shape (sets, n, n)
        R with ``R R'`` each matrix, negative rounding errors cut off.
    """
    found = np.empty_like(covariances)
    for place, (matrix, signal) in enumerate(zip(covariances, signals, strict=True)):
        raised = matrix + _ROUNDING * signal * np.eye(len(matrix))
        found[place], failed = lapack.dpotrf(raised, lower=1, clean=1)
        if failed:
            values, vectors = np.linalg.eigh(matrix)
            found[place] = vectors * np.sqrt(np.maximum(values, 0.0))
    return found
