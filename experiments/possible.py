"""What a plan promises in vain: knobs that cannot move, rules never kept, values never printed."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence

import numpy as np

from experiments.counting import Rule, TooMany, estimate, walk
from experiments.errors import Problem
from experiments.plan_parts import as_word
from experiments.sampling import points
from experiments.space import Space
from experiments.tree import Tree

__all__ = ["impossible"]

_MOST = 3_000_000
"""Combinations gone through; beyond that nothing is claimed."""

_TRIED = 1 << 14
_LISTED = 6


def impossible(space: Space) -> list[Problem]:
    """Find knobs of one level, rules that no recipe keeps, values that no printable recipe has.

    Parameters
    ----------
    space : Space
        The recipes of a plan.

    Returns
    -------
    list of Problem
        Only what is certain: every combination that matters was gone through.
    """
    tree, rules = space.tree, space.rules
    problems = [
        Problem(
            f"variables.{variable.name}.levels",
            f"one level, {as_word(variable.grid.tolist()[0])}",
            "at least two levels",
            "Drop a knob that does not move; a remark can stand in the plan's note.",
        )
        for variable in tree.variables
        if len(variable.grid) == 1
    ]
    never = [rule for rule in rules if _none_keeps(tree, [space.rule(rule.name, speaking=True)])]
    problems += [
        Problem(
            f"rules.{rule.name}",
            f'"{space.plan.rules[rule.name]}", which is never true',
            "a rule that some recipe keeps",
            "Mend the rule, or widen its variables.",
        )
        for rule in never
    ]
    left = [rule for rule in rules if rule not in never]
    seen: dict[int, set[int]] = {}
    for group in _groups(tree, left):
        found = _seen(tree, group)
        if found is None:
            continue
        if not found:
            names = ", ".join(rule.name for rule in group)
            remedy = "Each can be kept alone. Mend one of them, or widen their variables."
            problems.append(
                Problem(f"rules ({names})", "no recipe that keeps them all", "one", remedy)
            )
        seen |= found
    for column in range(len(tree.names)):
        if column in seen:
            problems += _unseen(space, left, column, seen)
    return problems


def _none_keeps(tree: Tree, rules: Sequence[Rule]) -> bool:
    found = _seen(tree, rules, once=True)
    return found is not None and not found


def _columns(tree: Tree, rules: Iterable[Rule]) -> set[int]:
    """Give the columns of rules, with every column that decides whether those are active."""
    found = {column for rule in rules for column in rule.columns}
    waiting = list(found)
    while waiting:
        for parent, _ in tree.parents[waiting.pop()]:
            if parent not in found:
                found.add(parent)
                waiting.append(parent)
    return found


def _groups(tree: Tree, rules: Sequence[Rule]) -> list[list[Rule]]:
    """Part the rules into groups that share no column."""
    groups: list[tuple[set[int], list[Rule]]] = []
    for rule in rules:
        columns, members = _columns(tree, [rule]), [rule]
        for group in [group for group in groups if group[0] & columns]:
            groups.remove(group)
            columns |= group[0]
            members = group[1] + members
        groups.append((columns, members))
    return [members for _, members in groups]


def _seen(tree: Tree, rules: Sequence[Rule], *, once: bool = False) -> dict[int, set[int]] | None:
    """Collect the values that occur in combinations that keep rules.

    Empty if no combination keeps them; None if there are too many to know. With `once` the first
    that is found will do.
    """
    columns = sorted(_columns(tree, rules))
    every = range(len(tree.names))
    unit = points(_TRIED, len(tree.names), np.random.default_rng(0))
    if once and estimate(tree, rules, every, unit)[1]:
        return {column: set() for column in columns}
    seen: dict[int, set[int]] = {}
    try:
        for rows in walk(tree, rules, columns, _MOST):
            for column in columns:
                seen.setdefault(column, set()).update(np.unique(rows[:, column]).tolist())
            if once or all(len(seen[c] - {-1}) == tree.sizes[c] for c in columns):
                break
    except TooMany:
        return None
    return seen


def _unseen(
    space: Space, rules: Sequence[Rule], column: int, seen: dict[int, set[int]]
) -> list[Problem]:
    tree = space.tree
    variable = tree.variables[column]
    for parent, allowed in tree.parents[column]:
        if parent in seen and not any(allowed[code] for code in seen[parent] if code >= 0):
            return []  # its parent's values are told already
    missing = [code for code in range(int(tree.sizes[column])) if code not in seen[column]]
    if not missing:
        return []
    listed = _listed([as_word(variable.grid.tolist()[code]) for code in missing])
    names = ", ".join(rule.name for rule in rules if column in _columns(tree, [rule]))
    where, what = ("levels", "level") if variable.levels is not None else ("low", "value")
    if variable.levels is None and int(tree.sizes[column]) - 1 in missing:
        where = "high"
    return [
        Problem(
            f"variables.{variable.name}.{where}",
            f"the {what}{'s' if len(missing) > 1 else ''} {listed}, which no printable recipe has",
            f"{what}s that the rules allow",
            f"Mend the rules ({names}), or take the {what} out.",
        )
    ]


def _listed(words: Collection[str]) -> str:
    shown = list(words)
    if len(shown) <= _LISTED:
        return ", ".join(shown)
    return f"{', '.join(shown[: _LISTED - 2])}, ..., {shown[-1]} ({len(shown)} in all)"
