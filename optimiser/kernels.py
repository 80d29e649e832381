"""Covariance between recipes: Matérn 5/2 over numbers times a factor a choice.

``k(x, x') = s² · m(r) · c`` with ``r² = Σ d_j² / l_j²`` over the numeric inputs,
``m(r) = (1 + √5 r + 5 r²/3) exp(-√5 r)`` (Rasmussen & Williams 2006, eq. 4.17) and
``c = exp(-Σ [x_j ≠ x'_j] / l_j²)`` over the choices, a product kernel.

Everything is batched over hyperparameter sets: the first axis of a result is the set.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from optimiser.encoding import Encoding, Points

__all__ = ["matern", "matern_slope", "separations", "shape"]

Floats = npt.NDArray[np.float64]

_ROOT5 = np.sqrt(5.0)


def separations(encoding: Encoding, a: Points, b: Points) -> tuple[Floats, Floats]:
    """Give squared distances an input.

    Parameters
    ----------
    encoding : Encoding
        Says which coordinate belongs to which input.
    a, b : Points
        n and m recipes.

    Returns
    -------
    numbers : ndarray of shape (n, m, numeric inputs)
        Squared Euclidean distance within each input's coordinates.
    levels : ndarray of shape (n, m, choices)
        1 where the levels differ, else 0.
    """
    count = int(encoding.owner[-1]) + 1 if len(encoding.owner) else 0
    numbers = np.zeros((len(a), len(b), count))
    for column, owner in enumerate(encoding.owner):
        numbers[:, :, owner] += np.subtract.outer(a.numbers[:, column], b.numbers[:, column]) ** 2
    levels = (a.levels[:, None, :] != b.levels[None, :, :]).astype(float)
    return numbers, levels


def matern(squared: Floats, exponent: Floats | float = 0.0) -> Floats:
    """Matérn 5/2 correlation at squared scaled distance, times ``exp(-exponent)``."""
    root = np.sqrt(squared)
    root *= _ROOT5
    height = root * root
    height /= 3.0
    height += root
    height += 1.0
    root += exponent
    np.negative(root, out=root)
    height *= np.exp(root, out=root)
    return height


def matern_slope(squared: Floats) -> Floats:
    """Differentiate `matern` with respect to the squared scaled distance."""
    root = _ROOT5 * np.sqrt(squared)
    return np.asarray((-5.0 / 6.0) * (1.0 + root) * np.exp(-root))


def shape(numbers: Floats, levels: Floats, log_lengths: Floats) -> Floats:
    """Correlation of the recipes under each set of length scales.

    Parameters
    ----------
    numbers, levels : ndarray of shape (n, m, inputs)
        From `separations`.
    log_lengths : ndarray of shape (sets, inputs)
        Natural logarithms, numeric inputs first.

    Returns
    -------
    ndarray of shape (sets, n, m)
    """
    rows, columns, count = numbers.shape
    rate = np.exp(-2.0 * log_lengths)
    squared = (numbers.reshape(rows * columns, count) @ rate[:, :count].T).T
    apart = (levels.reshape(rows * columns, levels.shape[2]) @ rate[:, count:].T).T
    return matern(squared, apart).reshape(len(log_lengths), rows, columns)
