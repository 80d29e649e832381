"""The plan's ``only_when`` conditions: which variable is active under which others."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from experiments.grammar import suggest
from experiments.plan_parts import FrozenDict, Value, Variable, near_values, on_grid
from experiments.plan_schema import Problems, show

__all__ = ["read_conditions"]


def read_conditions(
    section: Mapping[str, Any], variables: dict[str, Variable], problems: Problems
) -> None:
    """Check every ``only_when`` and put it into its variable.

    Parameters
    ----------
    section : mapping
        ``[variables]`` as it stands in the plan, broken variables included.
    variables : dict of str to Variable
        The variables that are sound so far; changed in place.
    problems : Problems
        Whatever is wrong is added.
    """
    for name, raw in section.items():
        given = raw.get("only_when") if isinstance(raw, Mapping) else None
        if not isinstance(given, Mapping):
            continue
        matched = {}
        for parent, values in given.items():
            where = f"variables.{name}.only_when.{parent}"
            listed = values if isinstance(values, list) else [values]
            if parent == name or parent not in section:
                found = "the variable itself" if parent == name else f"'{parent}'"
                hint = suggest(parent, set(section) - {name})
                problems.note(where, found, "another variable of this plan", hint)
            elif parent in variables:  # else its own problems are listed already
                matched[parent] = _allowed(where, variables[parent], listed, problems)
        if name in variables:
            variables[name] = replace(variables[name], only_when=FrozenDict(matched))
    _cycles(variables, problems)


def _allowed(
    where: str, holder: Variable, values: Sequence[Any], problems: Problems
) -> tuple[Value, ...]:
    parent = holder.name
    if holder.kind == "continuous":
        problems.note(
            where, f"'{parent}', which is continuous", "a choice, ordered or integer variable"
        )
        return ()
    if not values:
        problems.note(where, "an empty list", f"values of {parent}")
    matched: list[Value] = []
    for value in values:
        found_value = on_grid(holder, value)
        if found_value is None:
            problems.note(where, show(value), f"a value of {parent}", near_values(holder, value))
        elif found_value in matched:
            problems.note(where, f"{show(value)} twice", "each value once")
        else:
            matched.append(found_value)
    return tuple(matched)


def _cycles(variables: Mapping[str, Variable], problems: Problems) -> None:
    settled: set[str] = set()
    for start in variables:
        trail = _circle(start, variables)
        if trail and not settled & set(trail):
            problems.note(
                f"variables.{start}.only_when",
                " -> ".join(trail),
                "conditions that do not go round in a circle",
                "Drop one of them.",
            )
            settled |= set(trail)
    if not settled:
        for name in variables:
            _reachable(name, variables, problems)


def _reachable(name: str, variables: Mapping[str, Variable], problems: Problems) -> None:
    """Find a variable whose conditions can never hold together."""
    allowed: dict[str, set[Value]] = {}
    waiting = [name]
    while waiting:
        variable = variables.get(waiting.pop())
        if variable is None:
            continue
        for parent, values in variable.only_when.items():
            known = allowed.get(parent)
            both = set(values) if known is None else known & set(values)
            if known and values and not both:
                problems.note(
                    f"variables.{name}.only_when",
                    f"conditions on '{parent}' that exclude each other",
                    "conditions that can hold together",
                    f"As it stands '{name}' is never active.",
                )
                return
            if both != known:
                allowed[parent] = both
                waiting.append(parent)


def _circle(start: str, variables: Mapping[str, Variable]) -> list[str]:
    """Follow parents from `start`; the way back to it, or nothing."""
    waiting = [[start]]
    seen = set()
    while waiting:
        trail = waiting.pop()
        holder = variables.get(trail[-1])
        for parent in holder.only_when if holder else ():
            if parent == start:
                return [*trail, start]
            if parent not in seen:
                seen.add(parent)
                waiting.append([*trail, parent])
    return []
