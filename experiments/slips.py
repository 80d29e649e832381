"""Typing slips: refused where a value cannot be meant, remarked upon where it may be."""

from __future__ import annotations

import re
import statistics
from collections.abc import Collection, Iterable, Mapping
from typing import Any

from experiments.errors import Problem, RecipeError
from experiments.plan import Plan
from experiments.plan_parts import Variable, is_number
from experiments.space import Space

__all__ = ["number_remark", "recipe_remarks", "refuse_slips", "session_remark"]

FAR = 5.0
"""A number that is so many times the median of the others, or its part, is remarked upon."""

APART = 3.0
"""So is one so many times their range beyond the others, where some of them are 0 or below."""

FEW = 4
"""So many other cones tell which number is odd."""

BEYOND = 10.0
"""So is one that is so many times beyond the values that the plan calls poor and good."""


def refuse_slips(plan: Plan, given: Mapping[str, Any]) -> None:
    """Refuse settings that no print can have had by mistake of the printer alone.

    A print may differ from the plan's values: off the steps, and outside the range by up to half
    of it (of the range's logarithm on a log scale), but not below zero where the plan's range is
    not. Anything farther out is taken for a slip of the finger.

    Parameters
    ----------
    plan : Plan
        Whose variables they are.
    given : mapping
        The settings that a person typed, as `Space.complete` gives them.

    Raises
    ------
    RecipeError
        Naming every setting that is too far out.
    """
    problems = []
    for name, value in given.items():
        variable = plan.variables[name]
        if not variable.numeric or not is_number(value):
            continue
        low, high = _widest(variable)
        if not low <= value <= high:
            problems.append(
                Problem(
                    name,
                    f"{value:.12g}",
                    f"{_range(variable)}, or not far outside",
                    f"Check the number. If the cone really is so, widen variables.{name} in "
                    "experiment.toml first.",
                )
            )
    if problems:
        raise RecipeError(*problems)


def _widest(variable: Variable) -> tuple[float, float]:
    """Give the range that a print may have had."""
    low, high = float(variable.grid[0]), float(variable.grid[-1])
    if variable.scale == "log":
        room = (high / low) ** 0.5
        return low / room, high * room
    room = (high - low) / 2 or abs(high) / 2
    least = low - room
    return (max(least, 0.0) if low >= 0 else least), high + room


def _range(variable: Variable) -> str:
    ends = dict.fromkeys(f"{end:.12g}" for end in (variable.grid[0], variable.grid[-1]))
    unit = f" {variable.unit}" if variable.unit else ""
    return f"{' to '.join(ends)}{unit}"


def recipe_remarks(
    plan: Plan, space: Space, settings: Mapping[str, Any], typed: Collection[str]
) -> list[str]:
    """Say in what a recorded recipe departs from what the plan allows.

    Parameters
    ----------
    plan, space
        The plan and its recipes.
    settings : mapping
        The complete recipe as recorded.
    typed : collection of str
        The variables that a person gave.

    Returns
    -------
    list of str
        A sentence for each value outside its range and each rule that does not hold.
    """
    remarks = []
    for name in typed:
        variable = plan.variables[name]
        value = settings.get(name)
        if variable.numeric and is_number(value):
            assert value is not None
            if not variable.grid[0] <= value <= variable.grid[-1]:
                remarks.append(
                    f"{name} {value:.12g} lies outside the plan's {_range(variable)}; "
                    "it is kept as what was printed"
                )
    for rule in space.broken_rules(settings):
        needed = sorted(space.formulas.needs(rule))
        values = ", ".join(
            f"{name} {_shown(settings[name])}" for name in needed if name in settings
        )
        remarks.append(
            f"the rule {rule} ({plan.rules[rule]}) does not hold: {values}; "
            "the recipe is kept as what was printed"
        )
    return remarks


def _shown(value: Any) -> str:
    return f"{value:.12g}" if is_number(value) else str(value)


def number_remark(
    what: str,
    value: float,
    others: Iterable[float],
    *,
    unit: str = "",
    ends: Iterable[float] = (),
) -> str | None:
    """Say that a number lies far from its fellows, if it does.

    Parameters
    ----------
    what : str
        What it is, such as ``mass``.
    value : float
        What was typed.
    others : iterable of float
        The same of other cones.
    unit : str
        Its unit.
    ends : iterable of float
        What the plan calls poor and good, if it does.

    Returns
    -------
    str or None
        A sentence, without the remedy; None where nothing is odd.
    """
    tail = f" {unit}" if unit else ""
    known = [number for number in others if is_number(number)]
    middle = statistics.median(known) if known else 0.0
    if middle > 0 and not middle / FAR <= value <= middle * FAR:
        few = "the other cone" if len(known) == 1 else f"the other {len(known)} cones"
        return f"{what} {value:.6g}{tail}: {few} had {middle:.4g}{tail} in the middle"
    if min(known, default=1.0) <= 0 and len(known) >= FEW:
        room = APART * (max(known) - min(known))
        if not min(known) - room <= value <= max(known) + room:
            ends_text = f"{min(known):.4g} to {max(known):.4g}{tail}"
            return f"{what} {value:.6g}{tail}: the other {len(known)} cones had {ends_text}"
    named = sorted(ends)
    if not named:
        return None
    low, high = named[0], named[-1]
    if low > 0:
        odd = not low / BEYOND <= value <= high * BEYOND
    else:
        room = BEYOND * (high - low)
        odd = not low - room <= value <= high + room
    if odd:
        return f"{what} {value:.6g}{tail}: the plan's poor and good are {low:.6g} and {high:.6g}"
    return None


def session_remark(name: str, known: Iterable[str]) -> str | None:
    """Say that the name of a new session is nearly that of a known one.

    Parameters
    ----------
    name : str
        What was typed.
    known : iterable of str
        The sessions that there are.

    Returns
    -------
    str or None
        A sentence, without the remedy. None where the name is known; and where it differs from
        every known one by more than case, spaces or one letter left out, added, wrong or swapped
        in a word of four letters or more: 'monday 1' and 'monday 2' are two sessions.
    """
    others = list(known)
    if name in others:
        return None
    plain = _plain(name)
    for other in others:
        near = _plain(other)
        if plain == near or (_counts(plain) == _counts(near) and _one_slip(plain, near)):
            return f"session '{name}' is new; there is a session '{other}' of nearly that name"
    return None


def _plain(name: str) -> str:
    return re.sub(r"[\s_-]+", " ", name).strip().casefold()


def _counts(name: str) -> list[str]:
    """Give what numbers sessions or letters them: a number, a single letter."""
    return re.findall(r"\d+|(?<![^\W\d])[^\W\d](?![^\W\d])", name)


def _one_slip(one: str, other: str) -> bool:
    """Whether two names differ by one letter, or by two neighbours swapped."""
    if min(len(one), len(other)) < 4:
        return False
    start = next((n for n, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), None)
    if start is None:
        return abs(len(one) - len(other)) == 1
    rest, last = one[start:], other[start:]
    return (
        rest[1:] == last[1:]
        or rest[1:] == last
        or rest == last[1:]
        or (rest[1::-1] == last[:2] and rest[2:] == last[2:])
    )
