"""Everything that is wrong with an experiment, at once: plan, store, raw files, recipes."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from experiments.errors import ExperimentError, LedgerError, PlanError, Problem, RecipeError
from experiments.folder import PLAN_FILE, STORE_FILE, no_experiment
from experiments.plan import Plan
from experiments.reading import cones, curve, curve_keys
from experiments.records import Cone
from experiments.space import Space
from experiments.store import Store

__all__ = ["check_experiment", "check_recipes", "check_store"]


def check_experiment(folder: str | Path) -> list[Problem | str]:
    """Check the folder of an experiment; a broken plan does not hide a broken store.

    Parameters
    ----------
    folder : path
        The folder.

    Returns
    -------
    list of Problem or str
        Everything that is wrong; empty when all is well.

    Raises
    ------
    LedgerError
        If there is no experiment at all.
    """
    folder = Path(folder)
    if not (folder / PLAN_FILE).exists() and not (folder / STORE_FILE).exists():
        raise no_experiment(folder, "neither a plan nor a store")
    problems: list[Problem | str] = []
    plan = None
    try:
        plan = Plan.from_toml(folder / PLAN_FILE)
    except PlanError as error:
        problems += error.problems
    try:
        store = Store(folder / STORE_FILE)
    except LedgerError as error:
        return [*problems, *error.problems]
    try:
        with store.reading() as connection:
            problems += check_store(connection, store.path)
            if plan is not None:
                problems += check_recipes(connection, plan, Space(plan))
    except ExperimentError as error:
        problems += error.problems
    finally:
        store.close()
    return problems


def check_store(connection: sqlite3.Connection, path: Path) -> list[Problem]:
    """Find damage: what SQLite sees, broken references, raw files whose bytes changed.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    path : Path
        The file, named in the problems.

    Returns
    -------
    list of Problem
        Empty when all is well.
    """
    problems = [
        Problem(str(path), str(row[0]), "an undamaged database", "Put a backup back.")
        for row in connection.execute("PRAGMA integrity_check")
        if row[0] != "ok"
    ]
    problems += [
        Problem(f"{path}, table {row[0]}", f"row {row[1]} without its {row[2]}", "whole records")
        for row in connection.execute("PRAGMA foreign_key_check")
    ]
    for key in curve_keys(connection, None, None):
        try:
            curve(connection, key)
        except LedgerError as error:
            problems += [one for one in error.problems if isinstance(one, Problem)]
    return problems


def check_recipes(connection: sqlite3.Connection, plan: Plan, space: Space) -> list[Problem]:
    """Find cones that do not fit the present plan, and a reference cone that is not there.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan, space
        The present plan and its recipes.

    Returns
    -------
    list of Problem
        Empty when all is well.
    """
    known = cones(connection, plan, space)
    problems = [problem for cone in known for problem in _recipe_problems(cone, space)]
    reference = plan.sessions.reference_cone
    if known and reference is not None and reference not in {cone.number for cone in known}:
        problems.append(
            Problem("plan, sessions.reference_cone", f"cone {reference}", "a cone of the table")
        )
    return problems


def _recipe_problems(cone: Cone, space: Space) -> list[Problem]:
    try:
        space.complete(cone.settings, off_grid=cone.status != "planned")
    except RecipeError as error:
        return [
            Problem(f"cone {cone.number}", str(one), "a recipe that fits the present plan")
            for one in error.problems
        ]
    return []
