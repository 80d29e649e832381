"""Variance-based sensitivity over recipes that can be printed.

Inputs are the variables on their grids, every printable combination of settings equally likely
(a conditional variable keeps a hidden setting while it is not active). With rules the inputs
depend on each other; the definitions still hold:

* first order ``S_i = Var(E[Y | X_i]) / Var(Y)``, here from the means within each setting, less
  what the spread within the settings alone would give;
* total ``T_i = E[Var(Y | X_~i)] / Var(Y)``, here by Jansen's estimator with X_i redrawn among
  the settings that the others allow.

* second order ``S_ij = Var(E[Y | X_i, X_j]) / Var(Y) - S_i - S_j``, all three from the means
  within groups of neighbouring settings, as above (two-way analysis of variance). With rules it
  holds what the two share by depending on each other as well.

A conditional variable is judged by the same among the recipes in which it is active.

Sobol' (2001), Global sensitivity indices for nonlinear mathematical models, Mathematics and
Computers in Simulation 55; Jansen (1999), Analysis of variance designs for model output,
Computer Physics Communications 117; Saltelli et al. (2010), the same journal, 181.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt
from scipy import sparse, stats

from experiments.space import Space

__all__ = ["Indices", "Sample", "draw_sample", "second_order", "sobol_indices"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]
Function = Callable[[Codes], Floats]

_BINS = 64
_REDRAWS = 8


@dataclass(frozen=True)
class Indices:
    """Sobol indices of several functions at once.

    Parameters
    ----------
    first, total : ndarray of shape (functions, variables)
        Over all recipes. NaN where a function does not vary.
    first_active, total_active : ndarray of shape (functions, variables)
        Among the recipes in which the variable is active.
    variance : ndarray of shape (functions,)
    """

    first: Floats
    total: Floats
    first_active: Floats
    total_active: Floats
    variance: Floats


@dataclass(frozen=True)
class Sample:
    """Evenly drawn settings of all variables, hidden ones of inactive variables included.

    Parameters
    ----------
    space : Space
    codes : ndarray of shape (n, d)
        Grid indices, no -1.
    """

    space: Space
    codes: Codes

    def recipes(self) -> Codes:
        """Give the codes with inactive variables set to -1."""
        return np.asarray(self.space.active_codes(self.codes))


def draw_sample(space: Space, size: int, seed: int, *, even: bool = True) -> Sample:
    """Draw printable settings, each as likely as any other.

    Parameters
    ----------
    space : Space
    size : int
        Wanted; fewer come back where rules leave very few of a million draws.
    seed : int
    even : bool
        Spread more evenly than chance would. Not for estimates that count on what chance does,
        as `second_order` does.

    Returns
    -------
    Sample
    """
    lengths = _lengths(space)
    rng = np.random.default_rng(seed)
    sobol = stats.qmc.Sobol(len(lengths), scramble=True, rng=rng)
    kept: list[Codes] = []
    found, batch = 0, 2 ** int(np.ceil(np.log2(max(size, 2))))
    for _ in range(12):
        drawn = sobol.random(batch) if even else rng.random((batch, len(lengths)))
        codes = np.floor(drawn * lengths).astype(np.int32)
        codes = np.minimum(codes, lengths - 1).astype(np.int32)
        codes = codes[space.printable_codes(space.active_codes(codes))]
        kept.append(codes)
        found += len(codes)
        if found >= size:
            break
        if len(kept) * batch + batch > 2**20:
            break
    return Sample(space, np.vstack(kept)[:size])


def _lengths(space: Space) -> npt.NDArray[np.int64]:
    return np.array([len(v.grid) for v in space.plan.variables.values()], dtype=np.int64)


def sobol_indices(function: Function, sample: Sample, *, seed: int) -> Indices:
    """Estimate the indices of functions over a sample.

    Parameters
    ----------
    function : callable
        Codes of shape (m, d), -1 where inactive, to values of shape (functions, m).
    sample : Sample
    seed : int

    Returns
    -------
    Indices
    """
    recipes = sample.recipes()
    values = function(recipes)
    whole = _Spread(values)
    shape = (len(values), sample.codes.shape[1])
    first, total, first_active, total_active = (np.empty(shape) for _ in range(4))
    rng = np.random.default_rng(seed)
    for place in range(shape[1]):
        groups = _bins(sample, place)
        active = recipes[:, place] >= 0
        other, valid = _redrawn(sample, place, rng)
        changed = valid & np.any(other != recipes, axis=1)
        difference = np.zeros_like(values)
        if changed.any():
            difference[:, changed] = values[:, changed] - function(other[changed])
        own = whole if active.all() else _Spread(values[:, active])
        first[:, place] = whole.share(whole.between(groups))
        total[:, place] = whole.share(_jansen(difference[:, valid]))
        first_active[:, place] = own.share(own.between(groups[active]))
        total_active[:, place] = own.share(_jansen(difference[:, valid & active]))
    first, first_active = np.clip(first, 0.0, 1.0), np.clip(first_active, 0.0, 1.0)
    return Indices(first, total, first_active, total_active, whole.variance)


def second_order(
    function: Function, sample: Sample, *, bins: int = 12
) -> dict[tuple[int, int], Floats]:
    """Estimate the second-order indices of functions over a sample.

    Parameters
    ----------
    function, sample
        As for `sobol_indices`, the sample not spread evenly; the more recipes, the less a pair's
        many groups scatter.
    bins : int
        Groups of neighbouring settings a variable, at most.

    Returns
    -------
    dict of (int, int) to ndarray of shape (functions,)
        One pair of columns i < j each, among the recipes in which both are active. NaN where
        they never are or a function does not vary; may lie below 0 by what a sample scatters.
    """
    recipes = sample.recipes()
    values = function(recipes)
    groups = [_bins(sample, place, bins) for place in range(recipes.shape[1])]
    spreads: dict[bytes, _Spread] = {}  # a few conditions say where both are active
    found = {}
    for i, j in combinations(range(recipes.shape[1]), 2):
        both = (recipes[:, i] >= 0) & (recipes[:, j] >= 0)
        if both.tobytes() not in spreads:
            spreads[both.tobytes()] = _Spread(values[:, both])
        spread = spreads[both.tobytes()]
        a, b = groups[i][both], groups[j][both]
        parts = [spread.between(each) for each in (_pairs(a, b), a, b)]
        found[i, j] = spread.share(parts[0] - parts[1] - parts[2])
    return found


def _pairs(a: npt.NDArray[np.intp], b: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Give each combination of two groupings that occurs a number."""
    joint = a * (int(b.max(initial=0)) + 1) + b
    return np.asarray(np.unique(joint, return_inverse=True)[1], dtype=np.intp)


def _jansen(difference: Floats) -> Floats:
    """Half the mean square change when a variable is redrawn."""
    if not difference.shape[1]:
        return np.full(len(difference), np.nan)
    return np.asarray(0.5 * np.mean(difference**2, axis=1))


def _bins(sample: Sample, place: int, most: int = _BINS) -> npt.NDArray[np.intp]:
    """Group the sample by a variable's setting, neighbours together where there are many."""
    length = int(_lengths(sample.space)[place])
    bins = min(length, most)
    groups = sample.codes[:, place].astype(np.int64) * bins // length
    return np.unique(groups, return_inverse=True)[1].astype(np.intp)


class _Spread:
    """How functions vary over recipes, whole and between groups.

    Parameters
    ----------
    values : ndarray of shape (functions, n)
    """

    def __init__(self, values: Floats) -> None:
        self.count = values.shape[1]
        self.mean = values.mean(axis=1) if self.count else np.zeros(len(values))
        self.rows = np.ascontiguousarray((values - self.mean[:, None]).T)  # (n, functions)
        self.squares = np.einsum("ij,ij->j", self.rows, self.rows)
        self.variance = self.squares / max(self.count - 1, 1)

    def between(self, groups: npt.NDArray[np.intp]) -> Floats:
        """Variance between groups, less its expectation under no effect (one-way ANOVA)."""
        groups = np.unique(groups, return_inverse=True)[1]
        n, count = self.count, int(groups.max(initial=-1)) + 1
        if count < 2 or n <= count:
            return np.zeros(len(self.mean))
        marks = sparse.csr_array((np.ones(n), (groups, np.arange(n))), shape=(count, n))
        between = np.sum((marks @ self.rows) ** 2 / np.bincount(groups)[:, None], axis=0)
        within = self.squares - between
        return np.asarray((between - (count - 1) * within / (n - count)) / n)

    def share(self, part: Floats) -> Floats:
        """Divide by the functions' variance; NaN where they do not vary or there are too few."""
        if self.count < 2:
            return np.full(len(self.mean), np.nan)
        scale = np.abs(self.mean) + np.sqrt(self.variance)
        flat = ~(np.sqrt(self.variance) > 1e-9 * scale)
        return np.asarray(part / np.where(flat, np.nan, self.variance))


def _redrawn(
    sample: Sample, place: int, rng: np.random.Generator
) -> tuple[Codes, npt.NDArray[np.bool_]]:
    """Redraw one variable among the settings that the others allow, and say where it worked."""
    space, length = sample.space, int(_lengths(sample.space)[place])
    other = sample.codes.copy()
    valid = np.zeros(len(other), dtype=bool)
    for _ in range(_REDRAWS):
        open_rows = np.flatnonzero(~valid)
        if not len(open_rows):
            break
        trial = sample.codes[open_rows].copy()
        trial[:, place] = rng.integers(0, length, len(open_rows))
        good = space.printable_codes(space.active_codes(trial))
        other[open_rows[good]] = trial[good]
        valid[open_rows[good]] = True
    return np.asarray(space.active_codes(other)), valid
