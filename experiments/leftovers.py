"""What the store holds under names, levels and ranges that the plan no longer has.

Nothing is wrong with that; but a knob, a level or a metric that was renamed would be missed.
"""

from __future__ import annotations

import sqlite3

from experiments.agreement import cones_by_name, cones_text, counted_cones
from experiments.plan import Plan
from experiments.plan_schema import show
from experiments.space import Space
from experiments.trials import cone_recipes

__all__ = ["beyond_range", "dropped_levels", "left_over"]


def left_over(connection: sqlite3.Connection, plan: Plan) -> list[str]:
    """Say what the store holds under names that the plan no longer has.

    Nothing is wrong with that where a knob or a metric was dropped; where one was renamed, its
    settings or entered values would be missed.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan : Plan
        The present plan.

    Returns
    -------
    list of str
        One sentence a name. Computed values are not told of: the files give them again.
    """
    variables = {*plan.variables, *(one.was for one in plan.variables.values())}
    settings = cones_by_name(connection, "SELECT variable, cone FROM settings", variables)
    entered = cones_by_name(
        connection,
        """SELECT r.metric, m.cone FROM readings r JOIN measurements m ON m.id = r.measurement
        WHERE r.by_hand AND r.value IS NOT NULL""",
        {*plan.metrics, *(one.was for one in plan.metrics.values())},
    )
    return [
        *(
            f"settings of '{name}' for {cones_text(cones)} belong to no variable of the plan"
            for name, cones in settings.items()
        ),
        *(
            f"values of '{name}' entered for {cones_text(cones)} belong to no metric of the plan; "
            "if it was renamed, write was with that name in its table and run "
            "`coneloop recompute`"
            for name, cones in entered.items()
        ),
    ]


def dropped_levels(connection: sqlite3.Connection, plan: Plan, space: Space) -> list[str]:
    """Say which cones have a level that the plan no longer has.

    Nothing is wrong with that: the table keeps them, and no answer uses them.

    Parameters
    ----------
    connection, plan, space
        As in `disagreements`.

    Returns
    -------
    list of str
        One sentence a level. Cones that are set aside are not told of.
    """
    numbers = counted_cones(connection)
    recipes = cone_recipes(connection, plan, space, numbers)
    notes = []
    for name, variable in plan.variables.items():
        if variable.words is None:
            continue
        for level in dict.fromkeys(recipes[name].dropna()):
            if level in variable.words:
                continue
            cones = cones_text(numbers[recipes[name].to_numpy() == level].tolist())
            notes.append(
                f"the level '{level}' of {cones} is not in variables.{name}.levels any more: "
                "the table keeps what was recorded, no answer uses it. Put the level back, or, if "
                f"it was renamed, say so: were = {{ NEW = {show(level)} }} in [variables.{name}]"
            )
    return notes


def beyond_range(connection: sqlite3.Connection, plan: Plan, space: Space) -> list[str]:
    """Say which cones have numbers that the plan's range no longer reaches.

    Nothing is wrong with that: answers learn from them, and nothing beyond is proposed.

    Parameters
    ----------
    connection, plan, space
        As in `disagreements`.

    Returns
    -------
    list of str
        One sentence a variable. Cones that are set aside are not told of.
    """
    numbers = counted_cones(connection)
    recipes = cone_recipes(connection, plan, space, numbers)
    notes = []
    for name, variable in plan.variables.items():
        if not variable.numeric:
            continue
        low, high = float(variable.grid[0]), float(variable.grid[-1])
        outside = (recipes[name] < low) | (recipes[name] > high)
        if outside.any():
            cones = cones_text(numbers[outside.to_numpy(dtype=bool)].tolist())
            notes.append(
                f"{name} of {cones} lies outside {low:g} to {high:g}: the answers learn from "
                "that, nothing outside is proposed"
            )
    return notes
