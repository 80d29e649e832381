"""What two knobs do together: second-order indices, and the strongest pairs as curves."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Variable
from experiments.space import Space
from optimiser.answers import Estimate, Pair
from optimiser.sobol import Function, Sample, draw_sample, second_order
from optimiser.surrogate import estimate

__all__ = ["EVERY", "pairs"]

Codes = npt.NDArray[np.int32]

EVERY = 4
"""One function in so many is enough for 90 % intervals."""

_SIZE = 3072
_BASE = 16  # recipes over which a pair's effect is averaged
_ALONG = 9  # settings of the first variable that are drawn
_LINES = 3  # and of the second
_DRAWN = 2  # pairs whose effect is worked out
_SEEN = 0.02  # share of the variance that an interaction surely exceeds where it is seen
_NONE = 0.05  # and surely stays below where none is


def pairs(space: Space, value: Function, some: Function, cones: int, seed: int) -> list[Pair]:
    """Give every two variables that some recipe has both, the strongest interaction first.

    Parameters
    ----------
    space : Space
    value : callable
        Codes of recipes (m, d) to drawn values (functions, m).
    some : callable
        The same of one function in so many (`EVERY`), for the indices.
    cones : int
        Measured cones behind the answer.
    seed : int

    Returns
    -------
    list of Pair
    """
    sample = draw_sample(space, _SIZE, seed, even=False)
    variables = list(space.plan.variables.values())
    recipes = sample.recipes()
    found = []
    for (i, j), shares in second_order(some, sample).items():
        if ((recipes[:, i] >= 0) & (recipes[:, j] >= 0)).any():
            index = estimate(np.clip(shares, 0.0, 1.0), cones)
            found.append(((i, j), index))
    found.sort(key=lambda each: -np.nan_to_num(each[1].mean))
    return [
        Pair(
            variables[i].name,
            variables[j].name,
            index,
            _verdict(index),
            _effect(sample, value, i, j) if place < _DRAWN and index.known else _NOTHING.copy(),
        )
        for place, ((i, j), index) in enumerate(found)
    ]


_NOTHING = pd.DataFrame(columns=["a", "b", "mean", "low", "high"], dtype=float)


def _verdict(index: Estimate) -> str:
    if not index.known:
        return "cannot tell yet"
    if index.low > _SEEN:
        return "seen"
    return "none seen" if index.high < _NONE else "cannot tell yet"


def _effect(sample: Sample, value: Function, i: int, j: int) -> pd.DataFrame:
    """Average over other settings, at settings of two variables, where both are active."""
    space = sample.space
    variables = list(space.plan.variables.values())
    recipes = sample.recipes()
    base = sample.codes[(recipes[:, i] >= 0) & (recipes[:, j] >= 0)][:_BASE]
    ends = [(a, b) for b in _shown(variables[j], _LINES) for a in _shown(variables[i], _ALONG)]
    codes = np.tile(base, (len(ends), 1))
    codes[:, [i, j]] = np.repeat(ends, len(base), axis=0)
    codes = np.asarray(space.active_codes(codes))
    printable = space.printable_codes(codes)
    pair = np.repeat(np.arange(len(ends)), len(base))[printable]
    values, rows = value(codes[printable]), []
    for place, (a, b) in enumerate(ends):
        own = pair == place
        if own.any():
            at = estimate(values[:, own].mean(axis=1), 0)
            rows.append((variables[i].grid[a], variables[j].grid[b], at.mean, at.low, at.high))
    return pd.DataFrame(rows, columns=list(_NOTHING))


def _shown(variable: Variable, most: int) -> Codes:
    """Give every level of a choice, evenly spaced settings of a number."""
    length = len(variable.grid)
    count = length if variable.kind == "choice" else min(length, most)
    return np.unique(np.linspace(0, length - 1, count).round().astype(np.int32))
