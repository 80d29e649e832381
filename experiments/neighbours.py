"""Recipes one move away from others, whether they can be printed or not."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from experiments.tree import Codes, Tree

__all__ = ["around_codes"]


def around_codes(tree: Tree, codes: Codes, reach: float) -> Codes:
    """Give all recipes one move away from any of the given ones.

    Parameters
    ----------
    tree : Tree
        What exists under which condition.
    codes : ndarray of int32, shape (n, d)
        Well-formed recipes.
    reach : float
        As `experiments.space.Space.neighbour_codes` takes it.

    Returns
    -------
    ndarray of int32, shape (m, d)
        Different rows. A variable that becomes active takes the middle of its grid.
    """
    moved = [
        moves for column in range(len(tree.names)) for moves in _moves(tree, codes, column, reach)
    ]
    middle = [(int(size) - 1) // 2 for size in tree.sizes]
    return tree.unique(tree.settle(np.vstack(moved), middle))


def _moves(tree: Tree, codes: Codes, column: int, reach: float) -> Iterable[Codes]:
    size = int(tree.sizes[column])
    step = max(1, round(reach * (size - 1)))
    here = codes[:, column]
    if tree.variables[column].numeric:
        targets = [here - step, here + step]
    else:
        targets = [np.full_like(here, level) for level in range(size)]
    for target in targets:
        rows = (here >= 0) & (target != here) & (target >= 0) & (target < size)
        moved = codes[rows]
        moved[:, column] = target[rows]
        yield moved
