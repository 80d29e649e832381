"""Variance-based sensitivity over recipes that can be printed.

Inputs are the variables on their grids, every printable combination of settings equally likely
(a conditional variable keeps a hidden setting while it is not active). With rules the inputs
depend on each other; the definitions still hold:

* first order ``S_i = Var(E[Y | X_i]) / Var(Y)``, here from the means within each setting, less
  what the spread within the settings alone would give;
* total ``T_i = E[Var(Y | X_~i)] / Var(Y)``, here by Jansen's estimator with X_i redrawn among
  the settings that the others allow.

Sobol' (2001), Global sensitivity indices for nonlinear mathematical models, Mathematics and
Computers in Simulation 55; Jansen (1999), Analysis of variance designs for model output,
Computer Physics Communications 117; Saltelli et al. (2010), the same journal, 181.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import stats

from experiments.space import Space

__all__ = ["Indices", "Sample", "draw_sample", "sobol_indices"]

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
        NaN where a function does not vary.
    variance : ndarray of shape (functions,)
    """

    first: Floats
    total: Floats
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


def draw_sample(space: Space, size: int, seed: int) -> Sample:
    """Draw printable settings evenly.

    Parameters
    ----------
    space : Space
    size : int
        Wanted; fewer come back where rules leave very few of a million draws.
    seed : int

    Returns
    -------
    Sample
    """
    lengths = _lengths(space)
    sobol = stats.qmc.Sobol(len(lengths), scramble=True, rng=np.random.default_rng(seed))
    kept: list[Codes] = []
    found, batch = 0, 2 ** int(np.ceil(np.log2(max(size, 2))))
    for _ in range(12):
        codes = np.floor(sobol.random(batch) * lengths).astype(np.int32)
        codes = np.minimum(codes, lengths - 1).astype(np.int32)
        codes = codes[space.printable_codes(space.active_codes(codes))]
        kept.append(codes)
        found += len(codes)
        if found >= size:
            break
        if sobol.num_generated + batch > 2**20:
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
    values = function(sample.recipes())
    variance = values.var(axis=1, ddof=1)
    scale = np.abs(values.mean(axis=1)) + np.sqrt(variance)
    flat = ~(np.sqrt(variance) > 1e-9 * scale)
    divisor = np.where(flat, np.nan, variance)
    first = np.stack(
        [_first(values, _bins(sample, place)) for place in range(sample.codes.shape[1])], axis=1
    )
    rng = np.random.default_rng(seed)
    total = np.empty_like(first)
    for place in range(sample.codes.shape[1]):
        other, valid = _redrawn(sample, place, rng)
        changed = valid & np.any(other != sample.recipes(), axis=1)
        difference = np.zeros((len(values), int(valid.sum())))
        if changed.any():
            difference[:, changed[valid]] = values[:, changed] - function(other[changed])
        total[:, place] = 0.5 * np.mean(difference**2, axis=1) if valid.any() else np.nan
    return Indices(np.clip(first / divisor[:, None], 0.0, 1.0), total / divisor[:, None], variance)


def _bins(sample: Sample, place: int) -> npt.NDArray[np.intp]:
    """Group the sample by a variable's setting, neighbours together where there are many."""
    length = int(_lengths(sample.space)[place])
    bins = min(length, _BINS)
    groups = sample.codes[:, place].astype(np.int64) * bins // length
    return np.unique(groups, return_inverse=True)[1].astype(np.intp)


def _first(values: Floats, groups: npt.NDArray[np.intp]) -> Floats:
    """Variance between groups, less its expectation under no effect (one-way ANOVA)."""
    n, count = values.shape[1], int(groups.max()) + 1
    if count < 2 or n <= count:
        return np.zeros(len(values))
    member = np.zeros((n, count))
    member[np.arange(n), groups] = 1.0
    sizes = member.sum(axis=0)
    means = values @ member / sizes
    centre = values.mean(axis=1, keepdims=True)
    between = ((means - centre) ** 2) @ sizes
    within = ((values - centre) ** 2).sum(axis=1) - between
    return np.asarray((between - (count - 1) * within / (n - count)) / n)


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
