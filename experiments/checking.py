"""Everything that is wrong with an experiment, at once: plan, store, raw files, recipes."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Mapping, Sequence
from pathlib import Path

from experiments.agreement import cones_text, missing_settings, value_problems
from experiments.damage import find_damage
from experiments.errors import ExperimentError, LedgerError, PlanError, Problem, RecipeError
from experiments.folder import PLAN_FILE, STORE_FILE, no_experiment
from experiments.plan import Plan, read_plan_text
from experiments.possible import impossible
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
        plan, found = Plan.examine(read_plan_text(folder / PLAN_FILE), PLAN_FILE)
        problems += found
    except PlanError as error:
        problems += error.problems
    space = None if plan is None else Space(plan)
    problems += [] if space is None else impossible(space)
    try:
        store = Store(folder / STORE_FILE)
    except LedgerError as error:
        return [*problems, *error.problems]
    try:
        with store.reading() as connection:
            problems += check_store(connection, store.path)
            if plan is not None and space is not None:
                problems += check_recipes(connection, plan, space)
                problems += value_problems(connection, plan)
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
        Problem(f"{path}, {where}", what, "an undamaged store", "Put a backup back.")
        for where, what in find_damage(connection)
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
    """Find what keeps the cones of the store from fitting the present plan, once a cause.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan, space
        The present plan and its recipes.

    Returns
    -------
    list of Problem
        Empty when all is well. A level that the plan has dropped is no problem: see
        `experiments.leftovers.dropped_levels`.
    """
    known = cones(connection, plan, space)
    missing = missing_settings(connection, plan, space)
    told = {problem.where for problem in missing}
    return [
        *missing,
        *(one for one in _unfit_recipes(known, space) if one.where not in told),
        *_reference(plan, {cone.number: cone.status for cone in known}),
    ]


def _unfit_recipes(known: Sequence[Cone], space: Space) -> list[Problem]:
    """Gather what is wrong with recipes by its cause; cones set aside do not count."""
    causes: defaultdict[tuple[str, str], defaultdict[str, list[int]]]
    causes = defaultdict(lambda: defaultdict(list))
    remedies: defaultdict[tuple[str, str], set[str]] = defaultdict(set)
    for cone in known:
        for one in _recipe_problems(cone, space):
            where = f"variables.{one.where}" if one.where in space.plan.variables else one.where
            causes[where, one.expected][one.found].append(cone.number)
            remedies[where, one.expected].add(one.remedy)
    return [
        Problem(
            where,
            "; ".join(f"{found} in {cones_text(numbers)}" for found, numbers in cases.items()),
            expected,
            remedy if len(remedies[where, expected]) == 1 else "",
        )
        for (where, expected), cases in causes.items()
        for remedy in [next(iter(remedies[where, expected]))]
    ]


def _recipe_problems(cone: Cone, space: Space) -> list[Problem]:
    if cone.status == "set aside":
        return []
    try:
        space.complete(cone.settings, off_grid=cone.status != "planned")
    except RecipeError as error:
        told = [one for one in error.problems if isinstance(one, Problem)]
        return [one for one in told if not _dropped(cone, space.plan, one.where)]
    return []


def _dropped(cone: Cone, plan: Plan, name: str) -> bool:
    words = plan.variables[name].words if name in plan.variables else None
    return words is not None and name in cone.settings and cone.settings[name] not in words


def _reference(plan: Plan, known: Mapping[int, str]) -> list[Problem]:
    reference = plan.sessions.reference_cone
    numbers = known.keys()
    if reference is not None and known.get(reference) in ("failed", "set aside"):
        found = f"cone {reference}, which is {known[reference]}"
        remedy = "Name another cone, or leave the key out."
        wanted = "a cone that can be measured in every session"
        return [Problem("sessions.reference_cone", found, wanted, remedy, PLAN_FILE)]
    # A plan may name its first cone before that is printed.
    if reference is None or reference in numbers or (reference == 1 and not numbers):
        return []
    found = f"cone {reference}" + ("" if numbers else ", and no cone in the table yet")
    remedy = "Leave the key out until the reference cone is in the table."
    return [Problem("sessions.reference_cone", found, "the number of a cone", remedy, PLAN_FILE)]
