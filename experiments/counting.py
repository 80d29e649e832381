"""How many recipes there are, and going through them.

Three ways, by size: a closed form where no rule stands in the way, going through every
combination where that is affordable, and an unbiased estimate otherwise.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from experiments.tree import Bools, Codes, Tree

__all__ = ["Count", "Rule", "TooMany", "count_free", "estimate", "walk"]

_CHUNK = 1 << 17
"""Rows held at once while going through combinations."""

_MOST_STATES = 50_000
"""Combinations of parents kept at once while counting; only a thicket of conditions needs more."""


class TooMany(Exception):
    """Going through the combinations was given up."""


@dataclass(frozen=True)
class Count:
    """How many printable recipes there are.

    Parameters
    ----------
    number : float
        The number.
    exact : bool
        False if it is an estimate.
    """

    number: float
    exact: bool


@dataclass(frozen=True)
class Rule:
    """One rule as a function of codes.

    Parameters
    ----------
    name : str
        As the plan calls it.
    columns : frozenset of int
        The columns it rests on; the others need not be settled.
    holds : callable
        Codes of shape (n, d) in, bool of shape (n,) out.
    """

    name: str
    columns: frozenset[int]
    holds: Callable[[Codes], Bools]


def count_free(tree: Tree, columns: Sequence[int]) -> int:
    """Count the recipes of some variables, rules aside, without going through them.

    Parameters
    ----------
    tree : Tree
        The variables.
    columns : sequence of int
        Which of them; with every variable its parents and children must be among them.

    Returns
    -------
    int
        Exact, however large.

    Raises
    ------
    TooMany
        If more than 50,000 combinations of parents would have to be told apart.

    Notes
    -----
    Values of a parent that allow the same children are one class. Variables are taken in `order`;
    for every combination of classes of the parents that still have children to come, the number
    of ways to reach it is kept. Without conditions that is the product of the sizes.
    """
    wanted = [column for column in tree.order if column in set(columns)]
    ways: dict[tuple[tuple[int, int], ...], int] = {(): 1}
    for position, column in enumerate(wanted):
        classes = _classes(tree, column)
        needed = {parent for later in wanted[position + 1 :] for parent, _ in tree.parents[later]}
        grown: dict[tuple[tuple[int, int], ...], int] = defaultdict(int)
        for state, number in ways.items():
            held = dict(state)
            active = all(allowed[held[parent]] for parent, allowed in tree.parents[column])
            kept = tuple(pair for pair in state if pair[0] in needed)
            for code, size in classes if active else [(-1, 1)]:
                grown[(*kept, (column, code)) if column in needed else kept] += number * size
        if len(grown) > _MOST_STATES:
            raise TooMany
        ways = grown
    return sum(ways.values())


def _classes(tree: Tree, column: int) -> list[tuple[int, int]]:
    """Group a variable's values by the children they allow: one code of each, and how many."""
    size = int(tree.sizes[column])
    tables = [
        allowed[:-1]
        for child in tree.children[column]
        for parent, allowed in tree.parents[child]
        if parent == column
    ]
    if not tables:
        return [(0, size)]
    _, first, counts = np.unique(np.array(tables), axis=1, return_index=True, return_counts=True)
    return list(zip(first.tolist(), counts.tolist(), strict=True))


def walk(tree: Tree, rules: Sequence[Rule], columns: Sequence[int], most: int) -> Iterator[Codes]:
    """Go through every combination that keeps the rules, dropping what breaks one early.

    Parameters
    ----------
    tree : Tree
        The variables.
    rules : sequence of Rule
        Rules over `columns` only.
    columns : sequence of int
        Which variables to combine; the others stay at -1.
    most : int
        Combinations to look at, begun ones included.

    Yields
    ------
    ndarray of int32, shape (m, d)
        Each combination once, in no particular order.

    Raises
    ------
    TooMany
        After `most` combinations.
    """
    order = _walking_order(tree, rules, columns)
    due = _due(rules, order)
    looked = 0
    stack: list[tuple[int, Codes]] = [(0, np.full((1, len(tree.names)), -1, dtype=np.int32))]
    while stack:
        depth, rows = stack.pop()
        if depth == len(order):
            yield rows
            continue
        column = order[depth]
        room = max(1, _CHUNK // int(tree.sizes[column]))
        if len(rows) > room:
            stack.append((depth, rows[room:]))
            rows = rows[:room]
        rows = _expand(tree, rows, column)
        looked += len(rows)
        if looked > most:
            raise TooMany
        for rule in due[depth]:
            rows = rows[rule.holds(rows)]
        if len(rows):
            stack.append((depth + 1, rows))


def _expand(tree: Tree, rows: Codes, column: int) -> Codes:
    active = tree.is_active(rows, column)
    times = np.where(active, tree.sizes[column], 1)
    source = np.repeat(np.arange(len(rows)), times)
    within = np.arange(len(source)) - np.repeat(np.cumsum(times) - times, times)
    grown = rows[source]
    grown[:, column] = np.where(active[source], within, -1)
    return grown


def _due(rules: Sequence[Rule], order: Sequence[int]) -> list[list[Rule]]:
    """For each depth, the rules whose last variable is settled there."""
    due: list[list[Rule]] = [[] for _ in order]
    for rule in rules:
        due[max((order.index(column) for column in rule.columns), default=0)].append(rule)
    return due


def _walking_order(tree: Tree, rules: Sequence[Rule], columns: Sequence[int]) -> list[int]:
    """Take the variables so that rules can be applied early: the smallest open rule first."""
    order: list[int] = []
    waiting = [column for column in tree.order if column in set(columns)]
    needed = [_with_ancestors(tree, rule.columns) for rule in rules]
    while waiting:
        open_rules = [cost for need in needed if (cost := [c for c in waiting if c in need])]
        if open_rules:
            next_up = min(
                open_rules, key=lambda part: float(np.prod(tree.sizes[part], dtype=float))
            )
            column = next_up[0]  # in tree order, so its parents are settled
        else:
            column = waiting[0]
        order.append(column)
        waiting.remove(column)
    return order


def _with_ancestors(tree: Tree, columns: frozenset[int]) -> set[int]:
    found, waiting = set(columns), list(columns)
    while waiting:
        for parent, _ in tree.parents[waiting.pop()]:
            if parent not in found:
                found.add(parent)
                waiting.append(parent)
    return found


def estimate(
    tree: Tree,
    rules: Sequence[Rule],
    columns: Sequence[int],
    points: npt.NDArray[np.float64],
) -> tuple[float, int]:
    """Estimate how many combinations keep the rules, without bias.

    Parameters
    ----------
    tree, rules, columns
        As in `walk`.
    points : ndarray, shape (n, d)
        Each row uniform in the unit cube.

    Returns
    -------
    number : float
        The estimate.
    hits : int
        How many of the points kept the rules; few hits make a poor estimate.

    References
    ----------
    Knuth (1975), Estimating the efficiency of backtrack programs, Mathematics of Computation 29:
    a random path down the tree, weighted by the number of ways at each branching.
    """
    codes = np.full((len(points), len(tree.names)), -1, dtype=np.int32)
    weight = np.ones(len(points))
    for column in (c for c in tree.order if c in set(columns)):
        active = tree.is_active(codes, column)
        size = int(tree.sizes[column])
        drawn = np.minimum((points[:, column] * size).astype(np.int32), size - 1)
        codes[:, column] = np.where(active, drawn, -1)
        weight = np.where(active, weight * size, weight)
    kept = np.ones(len(points), dtype=bool)
    for rule in rules:
        kept &= rule.holds(codes)
    return float(np.where(kept, weight, 0.0).mean()), int(kept.sum())
