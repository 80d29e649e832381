"""The plan's variables: from the keys of the file to checked records."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, cast

import numpy as np

from experiments.grammar import suggest
from experiments.grids import MAX_VALUES, steps_between
from experiments.plan_conditions import read_conditions
from experiments.plan_parts import (
    FrozenDict,
    Value,
    Variable,
    as_word,
    is_number,
    near_values,
    on_grid,
)
from experiments.plan_schema import Problems, VariableKeys, read_each, show

__all__ = ["CAUTIONS", "read_variables"]

CAUTIONS = ("resin", "filament", "other")
"""Kinds of process that call for a set of safety cautions."""


def read_variables(section: Mapping[str, Any], problems: Problems) -> dict[str, Variable]:
    """Read ``[variables]``.

    Parameters
    ----------
    section : mapping
        Names and their keys.
    problems : Problems
        Whatever is wrong is added.

    Returns
    -------
    dict of str to Variable
        The sound ones, in plan order.
    """
    variables = read_each(VariableKeys, section, "variables", problems, _variable)
    read_conditions(section, variables, problems)
    _old_names(section, variables, problems)
    return variables


def _old_names(
    section: Mapping[str, Any], variables: Mapping[str, Variable], problems: Problems
) -> None:
    """Refuse an old name that two variables claim, or that still is a variable's own."""
    claimed: dict[str, str] = {}
    for name, variable in variables.items():
        if not variable.was:
            continue
        if variable.was in section or variable.was in claimed:
            owner = claimed.get(variable.was, variable.was)
            problems.note(
                f"variables.{name}.was",
                f"{show(variable.was)}, which belongs to '{owner}'",
                "a name that no variable of the plan has any more",
            )
        claimed[variable.was] = name


def _variable(problems: Problems, name: str, keys: VariableKeys) -> Variable | None:
    where = f"variables.{name}"
    start = len(problems)
    levels = None
    if keys.kind in ("continuous", "integer"):
        _range(problems, where, keys)
    else:
        levels = _levels(problems, where, keys)
    if len(problems) > start:
        return None
    variable = _record(name, keys, levels)
    if variable.numeric and np.any(np.diff(variable.grid) <= 0):
        problems.note(
            where,
            f"values from {show(keys.low)} to {show(keys.high)}",
            "a wider range",
            "The values are too close to be told apart.",
        )
        return None
    _cautions(problems, where, variable)
    _renamed_levels(problems, where, variable)
    _tolerance(problems, where, variable)
    return _before(problems, where, variable, keys.before)


def _record(name: str, keys: VariableKeys, levels: tuple[Value, ...] | None) -> Variable:
    return Variable(
        name=name,
        kind=keys.kind,
        unit=keys.unit,
        low=keys.low,
        high=keys.high,
        step=_step_of(keys),
        levels=levels,
        scale=keys.scale,
        setup_minutes=keys.setup_minutes,
        label=keys.label,
        note=keys.note,
        per=keys.per,
        cautions=FrozenDict(keys.cautions),
        was=keys.was or "",
        were=FrozenDict(keys.were),
        tolerance=keys.tolerance,
    )


def _step_of(keys: VariableKeys) -> float | None:
    return 1.0 if keys.kind == "integer" and keys.step is None else keys.step


def _range(problems: Problems, where: str, keys: VariableKeys) -> None:
    start = len(problems)
    if keys.levels is not None:
        problems.note(
            f"{where}.levels",
            "levels",
            f'low and high for kind "{keys.kind}"',
            'Levels belong to kind "ordered" or "choice".',
        )
    _ends(problems, where, keys)
    if keys.low is None or keys.high is None or len(problems) > start:
        return
    if keys.low >= keys.high:
        problems.note(
            f"{where}.low",
            f"low = {show(keys.low)}, high = {show(keys.high)}",
            "low below high",
            "Swap them, or drop a knob that does not move.",
        )
    elif not math.isfinite(keys.high - keys.low):
        problems.note(f"{where}.high", show(keys.high), "a smaller range")
    else:
        _step(problems, where, keys, keys.low, keys.high)


def _ends(problems: Problems, where: str, keys: VariableKeys) -> None:
    for end, value in (("low", keys.low), ("high", keys.high)):
        if value is None:
            problems.note(f"{where}.{end}", "nothing", f'a number for kind "{keys.kind}"')
        elif keys.kind == "integer" and not float(value).is_integer():
            problems.note(f"{where}.{end}", show(value), "a whole number")
    if keys.kind == "integer" and keys.step is not None and not keys.step.is_integer():
        problems.note(
            f"{where}.step",
            show(keys.step),
            "a whole number",
            'Use kind = "continuous" for steps with decimals.',
        )


def _step(problems: Problems, where: str, keys: VariableKeys, low: float, high: float) -> None:
    if keys.scale == "log" and low <= 0:
        problems.note(f"{where}.low", show(low), 'a number above 0 for scale = "log"')
    step = _step_of(keys)
    if step is None:
        return
    count = steps_between(low, high, step)
    ratio = (high - low) / step
    if ratio >= MAX_VALUES:
        found = f"about {ratio:,.0f} printable values" if ratio < 1e15 else "countless values"
        problems.note(f"{where}.step", found, f"at most {MAX_VALUES:,}", "Use a larger step.")
    elif count is None and ratio < 1:
        problems.note(f"{where}.step", show(step), f"at most high - low = {show(high - low)}")
    elif count is None:
        below, above = (low + step * f(ratio) for f in (math.floor, math.ceil))
        problems.note(
            f"{where}.step",
            f"step = {show(step)} from low = {show(low)}",
            f"steps that reach high = {show(high)}",
            f"High could be {below:.12g} or {above:.12g}, or change the step.",
        )


def _levels(problems: Problems, where: str, keys: VariableKeys) -> tuple[Value, ...] | None:
    for key in ("low", "high", "step"):
        if getattr(keys, key) is not None:
            problems.note(
                f"{where}.{key}",
                key,
                f'levels for kind "{keys.kind}"',
                'Use kind = "continuous" or "integer" for a range.',
            )
    if not keys.levels:
        found = "nothing" if keys.levels is None else "an empty list"
        problems.note(f"{where}.levels", found, f'a list of levels for kind "{keys.kind}"')
        return None
    levels: list[Value] = []
    for place, level in enumerate(keys.levels):
        path = f"{where}.levels.{place}"
        if isinstance(level, str) and level and level == level.strip():
            levels.append(level)
        elif isinstance(level, str):
            problems.note(path, show(level), "a word without spaces at its ends")
        elif is_number(level):
            # A choice has words, whatever they were written as.
            levels.append(as_word(level) if keys.kind == "choice" else float(level))
        else:
            remedy = 'Write words, such as "yes" and "no".' if isinstance(level, bool) else ""
            problems.note(path, show(level), "a word or a number", remedy)
    _level_set(problems, where, keys, levels)
    return tuple(levels)


def _level_set(problems: Problems, where: str, keys: VariableKeys, levels: list[Value]) -> None:
    seen: set[Value] = set()
    for place, level in enumerate(levels):
        if level in seen:
            problems.note(f"{where}.levels.{place}", f"{show(level)} twice", "each level once")
        seen.add(level)
    words = sum(isinstance(level, str) for level in levels)
    if words and words < len(levels):
        problems.note(f"{where}.levels", show(levels), "only words or only numbers")
    elif not words and sorted(levels, key=float) != levels:
        problems.note(f"{where}.levels", show(levels), "numbers from low to high", "Sort them.")
    if keys.scale == "log" and (words or any(cast("float", v) <= 0 for v in levels)):
        problems.note(
            f"{where}.scale", '"log"', '"linear"', "Only numbers above 0 have a logarithm."
        )


def _renamed_levels(problems: Problems, where: str, variable: Variable) -> None:
    levels = variable.words or ()
    for level, old in variable.were.items():
        path = f"{where}.were.{level}"
        if level not in levels:
            expected = f"one of {', '.join(levels)}" if levels else "a variable with words"
            problems.note(path, f"the level {show(level)}", expected, suggest(level, levels))
        if old in levels or list(variable.were.values()).count(old) > 1:
            expected = "an old name that no level has any more, once"
            problems.note(path, show(old), expected)


def _cautions(problems: Problems, where: str, variable: Variable) -> None:
    for level, caution in variable.cautions.items():
        path = f"{where}.cautions.{level}"
        if variable.words is None or level not in variable.words:
            levels = variable.words or ()
            problems.note(
                path,
                f"the level {show(level)}",
                f"one of {', '.join(levels)}" if levels else "a variable with words",
                suggest(level, levels),
            )
        if caution not in CAUTIONS:
            problems.note(path, show(caution), '"resin", "filament" or "other"')


def _tolerance(problems: Problems, where: str, variable: Variable) -> None:
    """Refuse a printer that strays by more than the whole range."""
    if not variable.numeric:
        return
    span = float(variable.grid[-1] - variable.grid[0])
    if variable.tolerance > span:
        problems.note(
            f"{where}.tolerance",
            show(variable.tolerance),
            f"at most its whole range, {span:.6g}",
            "It is the standard deviation about a setting, in the variable's unit.",
        )


def _before(problems: Problems, where: str, variable: Variable, value: Any) -> Variable | None:
    if value is None:
        return variable
    found = on_grid(variable, value)
    if found is None:
        problems.note(
            f"{where}.before",
            show(value),
            f"a printable value of {variable.name}",
            near_values(variable, value),
        )
        return None
    return replace(variable, before=found)
