"""Recipes as a person names them: whole ones, and a few settings with the rest at its best."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import Problem, RecipeError
from experiments.plan import Variable
from optimiser.answers import Settings
from optimiser.paths import DrawnFunctions
from optimiser.pool import dense_pool
from optimiser.surrogate import Model
from optimiser.wording import ends, recipe_line, with_unit

__all__ = ["is_whole", "nearest_place", "promising", "read_settings", "recipes_with"]

Floats = npt.NDArray[np.float64]

_PROMISING = 64  # recipes that are best on average, beside those best in some drawn function


def read_settings(model: Model, side: str, given: Mapping[str, Any]) -> Settings:
    """Read settings as a person gives them: words among the levels, numbers within the limits.

    Parameters
    ----------
    model : Model
    side : str
        What to call the recipe in a refusal.
    given : mapping
        Some or all settings; a number may lie off its steps, and be text.

    Returns
    -------
    dict
        In plan order.

    Raises
    ------
    RecipeError
        Nothing given, an unknown variable, no level, or a number outside the limits (and
        outside what was measured).
    """
    plan = model.plan
    strange = [key for key in given if key not in plan.variables]
    if strange or not given:
        known = f"settings of the plan's variables: {', '.join(plan.variables)}"
        raise RecipeError(Problem(side, ", ".join(strange) or "nothing", known))
    measured = model.evidence.measured
    return {
        name: _number(variable, given[name], measured[name], side)
        if variable.numeric
        else _level(variable, given[name], side)
        for name, variable in plan.variables.items()
        if name in given
    }


def _level(variable: Variable, value: Any, side: str) -> str:
    levels = [str(level) for level in variable.grid]
    if str(value).strip() in levels:
        return str(value).strip()
    raise RecipeError(
        Problem(f"{side}.{variable.name}", repr(value), f"one of {', '.join(levels)}")
    )


def _number(variable: Variable, value: Any, measured: pd.Series, side: str) -> float | int:
    """Read a number; it may lie off the steps, but not outside what was planned or measured."""
    near = [variable.grid[0], variable.grid[-1], *measured.dropna()]
    low, high = float(min(near)), float(max(near))
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    slack = 1e-9 * (high - low)
    if not low - slack <= number <= high + slack:
        expected = f"a number of {with_unit(ends(low, high), variable.unit)}"
        raise RecipeError(Problem(f"{side}.{variable.name}", repr(value), expected))
    if variable.kind == "integer":
        if not number.is_integer():
            raise RecipeError(Problem(f"{side}.{variable.name}", repr(value), "a whole number"))
        return int(number)
    return number


def recipes_with(model: Model, name: str, side: Settings, seed: int) -> pd.DataFrame:
    """Give one whole recipe, or recipes that have a few settings and may be the best of them.

    Raises
    ------
    RecipeError
        No printable recipe has these settings.
    """
    space = model.evidence.space
    if is_whole(model, side):
        return space.rows([space.complete(side, off_grid=True)])
    found = promising(model, side, seed)
    if not len(found):
        shown = recipe_line(model.plan, side)
        raise RecipeError(Problem(name, shown, "settings that some printable recipe has"))
    return found


def is_whole(model: Model, side: Settings) -> bool:
    """Whether the settings name every variable that is active under them."""
    space = model.evidence.space
    active = space.active(space.rows([side])).iloc[0]
    return all(key in side for key in model.plan.variables if bool(active[key]))


def promising(model: Model, side: Settings, seed: int) -> pd.DataFrame:
    """Give recipes with some settings: the pool's own, and its best ones moved there."""
    space, names = model.evidence.space, list(model.plan.variables)
    if model.scorable:
        functions = DrawnFunctions(model, seed=seed)
        codes, utility = dense_pool(model, functions, seed=seed)
    else:
        codes = space.sample_codes(256, seed)
        utility = np.zeros((1, len(codes)))
    moved = codes[_best_of(utility)]
    own = np.ones(len(codes), dtype=bool)
    for key, value in side.items():
        column, place = names.index(key), nearest_place(model.plan.variables[key], value)
        own &= codes[:, column] == place
        moved[:, column] = np.where(moved[:, column] >= 0, place, -1)
    agree = [
        moved[:, names.index(key)] == nearest_place(model.plan.variables[key], value)
        for key, value in side.items()
    ]
    moved = moved[np.all(agree, axis=0)]
    parts = [moved[space.printable_codes(moved)]]
    if own.any():
        parts.append(codes[own][_best_of(utility[:, own])])
    frame = space.frame(np.unique(np.vstack(parts), axis=0))
    for key, value in side.items():
        frame[key] = value  # a number may lie between two places of its grid
    return frame


def _best_of(utility: Floats) -> npt.NDArray[np.intp]:
    """Give the places of the recipes that are best on average, or in some drawn function."""
    average = np.argsort(-utility.mean(axis=0), kind="stable")[:_PROMISING]
    winners, wins = np.unique(utility.argmax(axis=1), return_counts=True)
    return np.union1d(average, winners[np.argsort(-wins, kind="stable")])


def nearest_place(variable: Variable, value: Any) -> int:
    """Find the place on a variable's grid that is nearest to a setting."""
    if variable.numeric:
        return int(np.argmin(np.abs(variable.grid.astype(float) - float(value))))
    return [str(level) for level in variable.grid].index(value)
