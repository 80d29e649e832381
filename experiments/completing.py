"""Checking one recipe as a person gives it, and saying everything that is wrong with it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from experiments.errors import Problem, RecipeError
from experiments.expressions import Column
from experiments.formulas import Formulas
from experiments.grammar import suggest
from experiments.plan import Plan
from experiments.plan_parts import Variable, as_word, is_number, near_values, on_grid
from experiments.plan_schema import show

__all__ = ["complete"]


def complete(
    plan: Plan, formulas: Formulas, settings: Mapping[str, Any], *, off_grid: bool = False
) -> dict[str, Any]:
    """Check and tidy one recipe; see `experiments.space.Space.complete`.

    Parameters
    ----------
    plan : Plan
        Whose recipe it is.
    formulas : Formulas
        The plan's formulas.
    settings : mapping
        Numbers, words, or numbers as text; None and empty text count as absent.
    off_grid : bool
        Accept numbers off the grid and broken rules.

    Raises
    ------
    RecipeError
        With every problem found.
    """
    problems: list[Problem] = []
    given = {name: value for name, value in settings.items() if not _absent(value)}
    for name in given:
        if name not in plan.variables:
            hint = suggest(str(name), plan.variables) or f"Known: {', '.join(plan.variables)}."
            expected = "a variable of the plan"
            problems.append(Problem(str(name), "an unknown variable", expected, hint))
    values = {
        name: value
        for name, variable in plan.variables.items()
        if name in given
        and (value := _value(variable, given[name], off_grid, problems)) is not None
    }
    _check_activity(plan, given, values, problems)
    if not problems and not off_grid:
        problems.extend(_broken(plan, formulas, values))
    if problems:
        raise RecipeError(*problems)
    return values


def _absent(value: Any) -> bool:
    if isinstance(value, str):
        return not value.strip()
    return value is None or (isinstance(value, float | np.floating) and math.isnan(value))


def _value(
    variable: Variable, raw: Any, off_grid: bool, problems: list[Problem]
) -> str | float | int | None:
    """Turn what was given into the variable's value; None after noting a problem."""
    value = raw.item() if isinstance(raw, np.generic) else raw
    if variable.numeric and isinstance(value, str):
        value = _number(value)
    elif isinstance(value, str):
        value = value.strip()
    found = on_grid(variable, value)
    if found is None and off_grid and variable.numeric and is_number(value):
        found = float(value)
        if variable.kind == "integer" and not found.is_integer():
            problems.append(Problem(variable.name, show(raw), "a whole number"))
            return None
    if found is None:
        expected = "a printable value" if variable.numeric else "a level"
        problems.append(Problem(variable.name, show(raw), expected, near_values(variable, value)))
        return None
    return int(found) if variable.kind == "integer" else found


def _number(text: str) -> float | str:
    """Read a number as text, with a decimal point or a decimal comma."""
    text = text.strip()
    if "." not in text:
        text = text.replace(",", ".")
    try:
        return float(text)
    except ValueError:
        return text


def _check_activity(
    plan: Plan,
    given: Mapping[str, Any],
    values: Mapping[str, str | float],
    problems: list[Problem],
) -> None:
    """Note active variables without a value and inactive ones with one."""
    state: dict[str, bool | None] = {}
    for name, variable in plan.variables.items():
        active = _is_active(name, plan, values, state)
        condition = " and ".join(
            f"{parent} is {' or '.join(as_word(level) for level in allowed)}"
            for parent, allowed in variable.only_when.items()
        )
        if active is False and name in given:
            remedy = f"It is active only when {condition}."
            problems.append(Problem(name, show(given[name]), "no value", remedy))
        elif active and name not in given:
            remedy = f"It is active because {condition}." if condition else ""
            problems.append(Problem(name, "nothing", "a value", remedy))


def _is_active(
    name: str, plan: Plan, values: Mapping[str, str | float], state: dict[str, bool | None]
) -> bool | None:
    """Tell whether a variable is active; None if a parent's value is missing or wrong."""
    if name not in state:
        held: list[bool | None] = []
        for parent, allowed in plan.variables[name].only_when.items():
            above = _is_active(parent, plan, values, state)
            known = parent in values
            held.append(above if not above else values[parent] in allowed if known else None)
        state[name] = False if False in held else None if None in held else True
    return state[name]


def _broken(plan: Plan, formulas: Formulas, values: Mapping[str, Any]) -> list[Problem]:
    columns = {name: _column(v, values.get(name)) for name, v in plan.variables.items()}
    return [
        Problem(f"rules.{rule}", _shown(formulas, rule, values), f"{plan.rules[rule]}")
        for rule in plan.rules
        if not formulas.holds(rule, columns)[0]
    ]


def _column(variable: Variable, value: Any) -> Column:
    if variable.words is None:
        return Column.of(np.array([np.nan if value is None else value], dtype=np.float64))
    code = -1 if value is None else variable.words.index(value)
    return Column(np.array([code]), np.array([code < 0]), variable.words)


def _shown(formulas: Formulas, rule: str, values: Mapping[str, Any]) -> str:
    return ", ".join(
        f"{name} = {show(values[name])}" for name in sorted(formulas.needs(rule)) if name in values
    )
