"""Spreading recipes evenly over what can be printed.

Scrambled Sobol points are laid over the tree of conditions. Choices are dealt out like cards, so
that every level, and every level within every branch, gets its fair share; numbers are ranked, so
that each knob is covered evenly at any number of recipes, not only at powers of two.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.stats import qmc

from experiments.counting import Rule, TooMany, count_free, walk
from experiments.tree import Bools, Codes, Tree

__all__ = ["Sampler", "points"]

_FEW_VALUES = 12
"""A parent with at most so many values is dealt out like a choice."""

_MANY = 2_048
"""Above so many points ranks add nothing to what the Sobol sequence gives."""

_MOST_TRIES = 1 << 20
"""Points tried before rejection is given up."""

_SPARE = 512
"""Recipes beyond the wanted number among which rarer levels can be found."""

_TRIES_FOR_BALANCE = 1 << 15
"""Points tried before a level that rules leave hardly any recipe gets less than its share."""

_FEW_COMBINATIONS = 20_000
"""Up to so many, going through all of them costs less than drawing until none is new."""

_MOST_WALK = 5_000_000
"""Combinations gone through when rejection finds too few."""


def points(number: int, dimensions: int, rng: np.random.Generator) -> npt.NDArray[np.float64]:
    """Draw scrambled Sobol points (Owen 1998) in the unit cube.

    Parameters
    ----------
    number, dimensions : int
        Shape of the result. The number need not be a power of two: the first ones are taken.
    rng : numpy.random.Generator
        Gives the scramble.

    Returns
    -------
    ndarray, shape (number, dimensions)
    """
    engine = qmc.Sobol(dimensions, scramble=True, seed=int(rng.integers(2**31)))
    return np.asarray(engine.random_base2(max(0, int(number - 1).bit_length()))[:number])


class Sampler:
    """Draws recipes, as codes.

    Parameters
    ----------
    tree : Tree
        The variables.
    rules : sequence of Rule
        What every recipe must keep.
    """

    def __init__(self, tree: Tree, rules: Sequence[Rule]) -> None:
        self.tree = tree
        self.rules = rules
        self.dealt = [
            column
            for column in tree.order
            if tree.variables[column].kind == "choice"
            or (tree.children[column] and tree.sizes[column] <= _FEW_VALUES)
        ]

    @cached_property
    def _few(self) -> bool:
        """Whether there are so few combinations that going through them is quick."""
        try:
            return count_free(self.tree, range(len(self.tree.names))) <= _FEW_COMBINATIONS
        except TooMany:
            return False

    def keeps_rules(self, codes: Codes) -> Bools:
        """Tell which well-formed recipes keep every rule."""
        kept = np.ones(len(codes), dtype=bool)
        for rule in self.rules:
            kept &= rule.holds(codes)
        return kept

    def draw(self, number: int, seed: int) -> Codes:
        """Draw different printable recipes, evenly spread.

        Parameters
        ----------
        number : int
            How many.
        seed : int
            The same seed draws the same recipes.

        Returns
        -------
        ndarray of int32, shape (m, d)
            m is `number`, or fewer if there are no more, or no more were found.
        """
        if number < 1:
            return np.zeros((0, len(self.tree.names)), dtype=np.int32)
        rng = np.random.default_rng(seed)
        first = self._spread(number, rng)
        pool = self.tree.unique(first[self.keeps_rules(first)])
        if len(pool) == number:
            return pool
        pool = self._reject(pool, number, rng)
        if len(pool) < number:
            pool = self._complete(pool, rng)
        return pool[self._shares(pool, np.arange(len(pool)), number, 0, rng)]

    def _reject(self, pool: Codes, number: int, rng: np.random.Generator) -> Codes:
        """Draw in growing batches until there is enough to choose from."""
        batch, tried = 2 * number + 64, 0
        most = 4 * batch if self._few else _MOST_TRIES
        while not self._enough(pool, number, tried) and tried < most:
            found = self._spread(batch, rng)
            known = len(pool)
            pool = self.tree.unique(np.vstack([pool, found[self.keeps_rules(found)]]))
            tried += batch
            if len(pool) >= number and len(pool) - known < batch // 100:
                break  # nearly everything there is has been found
            batch = min(2 * batch, 1 << 17)
        return pool

    def _enough(self, pool: Codes, number: int, tried: int) -> bool:
        """Tell whether each level that is dealt out can have its share, or enough was tried."""
        if len(pool) < number + min(3 * number, _SPARE):
            return False
        if tried >= _TRIES_FOR_BALANCE:
            return True
        return all(
            np.bincount(pool[:, column], minlength=size).min() >= number // size
            for column in self.dealt
            if not self.tree.parents[column]
            for size in [int(self.tree.sizes[column])]
        )

    def _complete(self, pool: Codes, rng: np.random.Generator) -> Codes:
        """Go through all combinations, where rejection found too few."""
        every, columns = [], range(len(self.tree.names))
        try:
            for rows in walk(self.tree, self.rules, columns, _MOST_WALK):
                every.append(rows)
        except TooMany:
            pass  # what was seen so far is printable too
        seen = np.vstack(every) if every else pool[:0]
        return self.tree.unique(np.vstack([pool, rng.permutation(seen)]))

    def _spread(self, number: int, rng: np.random.Generator) -> Codes:
        """Lay one set of Sobol points over the tree, rules aside."""
        unit = points(number, len(self.tree.names), rng)
        codes = np.full(unit.shape, -1, dtype=np.int32)
        branch = np.zeros(number, dtype=np.int64)
        for column in self.tree.order:
            active = self.tree.is_active(codes, column)
            size = int(self.tree.sizes[column])
            if column in self.dealt:
                codes[active, column] = _deal(unit[active, column], branch[active], size, rng)
                branch = np.unique(branch * (size + 1) + codes[:, column], return_inverse=True)[1]
            else:
                codes[active, column] = _rank(unit[active, column], size, rng)
        return codes

    def _shares(
        self,
        pool: Codes,
        rows: npt.NDArray[np.int64],
        number: int,
        depth: int,
        rng: np.random.Generator,
    ) -> npt.NDArray[np.int64]:
        """Choose rows of the pool so that each level of each choice gets its fair share."""
        if number >= len(rows):
            return rows
        if number == 0 or depth == len(self.dealt):
            return rows[:number]
        levels = pool[rows, self.dealt[depth]]
        groups = [rows[levels == level] for level in rng.permutation(np.unique(levels))]
        quotas = _fair([len(group) for group in groups], number)
        chosen = [
            self._shares(pool, group, quota, depth + 1, rng)
            for group, quota in zip(groups, quotas, strict=True)
        ]
        return np.sort(np.concatenate(chosen))


def _rank(unit: npt.NDArray[np.float64], size: int, rng: np.random.Generator) -> Codes:
    """Place points by rank: n of them fall into n equal parts of the grid, one each."""
    if len(unit) > _MANY:  # so many are even enough, and sorting them costs time
        return np.minimum((unit * size).astype(np.int32), size - 1)
    ranks = np.argsort(np.argsort(unit))
    places = (ranks + rng.random(len(unit))) / max(1, len(unit))
    return np.minimum((places * size).astype(np.int32), size - 1)


def _deal(
    unit: npt.NDArray[np.float64],
    branch: npt.NDArray[np.int64],
    size: int,
    rng: np.random.Generator,
) -> Codes:
    """Deal levels out evenly within each branch; what does not divide goes round the levels.

    Parameters
    ----------
    unit : ndarray, shape (n,)
        Sobol coordinates; neighbours within a branch get the same level, as they would by cutting
        the coordinate into equal parts.
    branch : ndarray of int, shape (n,)
        Which branch of the tree each recipe is in.
    size : int
        How many levels.
    rng : numpy.random.Generator
        Shuffles which level comes first.
    """
    order = np.lexsort((unit, branch))
    _, start, counts = np.unique(branch[order], return_index=True, return_counts=True)
    rank = np.arange(len(unit)) - np.repeat(start, counts)
    base, extra = np.repeat(counts // size, counts), np.repeat(counts % size, counts)
    # The first `extra` levels get one more than the others.
    longer = extra * (base + 1)
    level = np.where(
        rank < longer, rank // (base + 1), extra + (rank - longer) // np.maximum(base, 1)
    )
    # The next branch goes on where this one stopped, so that the extras even out.
    turned = (level + np.repeat(start, counts)) % size
    dealt = np.empty(len(unit), dtype=np.int32)
    dealt[order] = rng.permutation(size)[turned]
    return dealt


def _fair(available: Sequence[int], number: int) -> list[int]:
    """Share `number` out as evenly as what is available allows."""
    quotas = [0] * len(available)
    while number > 0:
        open_groups = [i for i, most in enumerate(available) if quotas[i] < most]
        if not open_groups:
            break
        each = max(1, number // len(open_groups))
        for i in open_groups:
            given = min(each, available[i] - quotas[i], number)
            quotas[i] += given
            number -= given
    return quotas
