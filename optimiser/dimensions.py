"""A plan as scikit-optimize's dimensions: the one place that knows that library.

It serves as the peer that our choice is raced against, and lets a reader hand a plan to it.
Conditional variables and rules have no counterpart there: every variable becomes a dimension, and
`recipe` drops what is inactive.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from skopt.space import Categorical, Dimension, Integer, Real

from experiments.plan import Plan, Variable
from experiments.space import Space

__all__ = ["dimensions", "point", "recipe"]


def dimensions(plan: Plan) -> list[Dimension]:
    """Give one dimension a variable, in plan order.

    Parameters
    ----------
    plan : Plan

    Returns
    -------
    list of skopt.space.Dimension
    """
    return [_dimension(variable) for variable in plan.variables.values()]


def _dimension(variable: Variable) -> Dimension:
    prior = "log-uniform" if variable.scale == "log" else "uniform"
    grid = variable.grid.tolist()
    if variable.kind == "continuous":
        return Real(grid[0], grid[-1], prior=prior, name=variable.name)
    if variable.kind == "integer" and variable.step in (None, 1.0):
        return Integer(int(grid[0]), int(grid[-1]), prior=prior, name=variable.name)
    return Categorical(grid, name=variable.name)


def point(plan: Plan, settings: dict[str, Any]) -> list[Any]:
    """Give a recipe as scikit-optimize's list; inactive variables stand at mid range."""
    values = []
    for name, variable in plan.variables.items():
        middle = variable.grid.tolist()[len(variable.grid) // 2]
        value = settings.get(name, middle)
        whole = isinstance(_dimension(variable), Integer)
        values.append(int(value) if whole else value)
    return values


def recipe(space: Space, values: Sequence[Any]) -> dict[str, Any]:
    """Give the nearest recipe on the grid to scikit-optimize's list, rules not looked at."""
    variables = space.plan.variables.values()
    places = [_nearest(variable, value) for variable, value in zip(variables, values, strict=True)]
    codes = space.active_codes(np.array([places], dtype=np.int32))
    return space.settings(space.frame(codes).iloc[0])


def _nearest(variable: Variable, value: Any) -> int:
    """Find the nearest place on a variable's grid."""
    if variable.numeric:
        return int(np.argmin(np.abs(variable.grid.astype(float) - float(value))))
    return [str(level) for level in variable.grid].index(str(value))
