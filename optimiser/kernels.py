"""Covariance between recipes: Matérn 5/2 over numbers times a factor a choice.

``k(x, x') = s² · m(r) · c`` with ``r² = Σ d_j² / l_j²`` over the numeric inputs,
``m(r) = (1 + √5 r + 5 r²/3) exp(-√5 r)`` (Rasmussen & Williams 2006, eq. 4.17) and
``c = exp(-Σ [x_j ≠ x'_j] / l_j²)`` over the choices, a product kernel.

Everything is batched over hyperparameter sets: the first axis of a result is the set.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from optimiser.encoding import Encoding, Points

__all__ = ["matern", "matern_and_slope", "separations", "shape"]

Floats = npt.NDArray[np.float64]

_ROOT5 = np.sqrt(5.0)
_CACHED = 16_384  # numbers of eight bytes of which a few arrays stay in the cache


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


def matern(squared: Floats, exponent: Floats) -> Floats:
    """Matérn 5/2 correlation at squared scaled distance, times ``exp(-exponent)``, (m, n) each."""
    found = np.empty_like(squared)
    for part in _blocks(squared):
        _decayed(squared[part], exponent[part], found[part])
    return found


def matern_and_slope(squared: Floats, exponent: Floats) -> tuple[Floats, Floats]:
    """Give `matern` and its derivative with respect to the squared scaled distance."""
    found, slope = np.empty_like(squared), np.empty_like(squared)
    for part in _blocks(squared):
        root, decay = _decayed(squared[part], exponent[part], found[part])
        root += 1.0
        root *= -5.0 / 6.0
        np.multiply(root, decay, out=slope[part])
    return found, slope


def _decayed(squared: Floats, exponent: Floats, found: Floats) -> tuple[Floats, Floats]:
    """Write `matern` into `found`; give the scaled distance and the exponential in it."""
    root = np.sqrt(squared)
    root *= _ROOT5
    np.multiply(root, root, out=found)
    found /= 3.0
    found += root
    found += 1.0
    decay = root + exponent
    np.negative(decay, out=decay)
    found *= np.exp(decay, out=decay)
    return root, decay


def _blocks(values: Floats) -> Iterator[tuple[slice, slice]]:
    """Split a matrix by columns so that what is worked on stays in the processor's cache."""
    step = max(1, _CACHED // max(len(values), 1))
    for start in range(0, values.shape[1], step):
        yield slice(None), slice(start, start + step)


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
