"""Whether what is stored still means what the present plan says, and how to mend it if not."""

from __future__ import annotations

import sqlite3
from collections import defaultdict
from collections.abc import Container, Iterable, Sequence

import numpy as np
import numpy.typing as npt

from experiments.bounds import wanted_instead
from experiments.definitions import Stale, definition_of, stale_readings
from experiments.errors import LedgerError, Problem
from experiments.grammar import suggest
from experiments.plan import Metric, Plan
from experiments.plan_schema import show
from experiments.renamed_metrics import old_readings
from experiments.space import Space
from experiments.trials import active_settings, cone_recipes
from experiments.unit_changes import UnitChange, unit_changes

__all__ = [
    "cones_by_name",
    "cones_text",
    "counted_cones",
    "disagreements",
    "missing_settings",
    "refuse_disagreements",
    "refuse_stale",
    "stale_problems",
    "told_stale",
    "unit_problems",
    "value_problems",
]

_PRESENT = "values under the present plan"
_FOREIGN = 30.0
_CORRECT = (
    "Run `coneloop export table.csv`, put the right value or a blank there, and "
    "`coneloop import table.csv`."
)
_AGAIN = "Run `coneloop recompute`; with --dry-run it only shows what would change."


def disagreements(connection: sqlite3.Connection, plan: Plan, space: Space) -> list[Problem]:
    """Find what no answer may be built on: settings that are missing, values that are stale.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan, space
        The present plan and its recipes.

    Returns
    -------
    list of Problem
        One a cause, naming the cones. Cones that are set aside do not count.
    """
    return [*missing_settings(connection, plan, space), *value_problems(connection, plan)]


def refuse_disagreements(connection: sqlite3.Connection, plan: Plan, space: Space) -> None:
    """Raise a LedgerError with all `disagreements`, if there are any."""
    found = disagreements(connection, plan, space)
    if found:
        raise LedgerError(*found)


def refuse_stale(connection: sqlite3.Connection, plan: Plan) -> None:
    """Raise a LedgerError with all `stale_problems`, if there are any."""
    found = stale_problems(connection, plan)
    if found:
        raise LedgerError(*found)


def cones_text(numbers: Iterable[int]) -> str:
    """Name cones: ``cone 3``, ``cones 1 to 9``, ``cones 1, 3 and 5 to 9``."""
    ordered = sorted(set(numbers))
    runs: list[list[int]] = []
    for number in ordered:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts: list[str] = []
    for run in runs:
        parts += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run)
    listed = ", ".join(parts[:-1]) + (" and " if len(parts) > 1 else "") + "".join(parts[-1:])
    return f"cone{'' if len(ordered) == 1 else 's'} {listed}"


# -- settings ------------------------------------------------------------------------------


def missing_settings(connection: sqlite3.Connection, plan: Plan, space: Space) -> list[Problem]:
    """Find variables that the cones of the store know nothing of.

    Parameters
    ----------
    connection, plan, space
        As in `disagreements`.

    Returns
    -------
    list of Problem
        One a variable.
    """
    numbers = counted_cones(connection)
    if not len(numbers):
        return []
    recipes = cone_recipes(connection, plan, space, numbers)
    active = active_settings(recipes, plan, space)
    problems = []
    for name in plan.variables:
        lacking = active[name].to_numpy(dtype=bool) & recipes[name].isna().to_numpy(dtype=bool)
        if lacking.any():
            cones = [int(number) for number in numbers[lacking]]
            problems.append(_missing(connection, plan, name, cones))
    return problems


def _missing(
    connection: sqlite3.Connection, plan: Plan, name: str, cones: Sequence[int]
) -> Problem:
    example = show(plan.variables[name].grid.tolist()[0])
    remedy = f"Say in [variables.{name}] what they had: before = {example}, say."
    old = _left_over(connection, plan, name, cones)
    if old:
        remedy = (
            f"The store has '{old}' for them, which the plan no longer names. If you renamed it, "
            f'write was = "{old}" in [variables.{name}]. If {name} is new, say there what they '
            f"had: before = {example}, say."
        )
    return Problem(f"variables.{name}", f"no value for {cones_text(cones)}", "a value", remedy)


def _left_over(
    connection: sqlite3.Connection, plan: Plan, name: str, cones: Sequence[int]
) -> str | None:
    """Find a name in the store that no variable of the plan has: perhaps an old name."""
    wanted = set(cones)
    known = {*plan.variables, *(one.was for one in plan.variables.values() if one.was)}
    every = cones_by_name(connection, "SELECT variable, cone FROM settings", known)
    held = {variable: found & wanted for variable, found in every.items() if found & wanted}
    whole = [variable for variable, found in held.items() if found == wanted]
    alike = next((one for one in held if f"'{one}'" in suggest(name, [one])), None)
    return alike or (whole[0] if len(whole) == 1 else None)


def counted_cones(connection: sqlite3.Connection) -> npt.NDArray[np.int64]:
    """Give the numbers of the cones that are not set aside."""
    rows = connection.execute("SELECT id FROM cones WHERE status <> 'set aside' ORDER BY id")
    return np.array([row[0] for row in rows], dtype=np.int64)


def cones_by_name(
    connection: sqlite3.Connection, sql: str, known: Container[str]
) -> dict[str, set[int]]:
    """Give the cones of each name that a query finds and that is not a known one."""
    found: defaultdict[str, set[int]] = defaultdict(set)
    for name, cone in connection.execute(sql):
        if name not in known:
            found[name].add(cone)
    return dict(found)


# -- values --------------------------------------------------------------------------------


def value_problems(connection: sqlite3.Connection, plan: Plan) -> list[Problem]:
    """Find values that are stale; else impossible ones; else ones that no ends of the plan fit."""
    return [
        *unit_problems(unit_changes(connection, plan)),
        *(
            stale_problems(connection, plan)
            or _impossible(connection, plan)
            or _foreign_ends(connection, plan)
        ),
    ]


def unit_problems(changes: Iterable[UnitChange]) -> list[Problem]:
    """Say which settings the present plan would read in another unit, and how to mend it."""
    return [
        Problem(
            f"variables.{one.variable}.unit",
            f"{one.now} for settings that {cones_text(one.cones)} have in {one.was}",
            one.was,
            "Put it back; or, if those numbers "
            + (f"were in {one.now} all along, " if one.converted() else "stand as they are, ")
            + f"run `coneloop recompute --keep {one.variable}`"
            + ("; `coneloop recompute` alone converts them." if one.converted() else "."),
        )
        for one in changes
    ]


def stale_problems(connection: sqlite3.Connection, plan: Plan) -> list[Problem]:
    """Say what changed since values were stored, once for each cause.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan : Plan
        The present plan.

    Returns
    -------
    list of Problem
        Cones that are set aside do not count.
    """
    return _renamed(connection, plan) + told_stale(
        plan, [one for one in stale_readings(connection, plan) if one.counts]
    )


def _renamed(connection: sqlite3.Connection, plan: Plan) -> list[Problem]:
    return [
        Problem(
            f"metrics.{name}.was",
            f"values of {cones_text(cone for _, cone in rows)} under the old name "
            f"'{plan.metrics[name].was}'",
            "values under the present name",
            "Run `coneloop recompute`, which puts them there.",
        )
        for name, rows in old_readings(connection, plan).items()
    ]


def told_stale(plan: Plan, stale: Iterable[Stale]) -> list[Problem]:
    """Say what changed since some values were stored: one problem a cause."""
    cones: defaultdict[tuple[str, str, str], set[int]] = defaultdict(set)
    for one in stale:
        cones[one.metric.name, *_cause(plan, one)].add(one.cone)
    metrics: defaultdict[tuple[str, str], list[str]] = defaultdict(list)
    for (name, what, remedy), numbers in cones.items():
        metrics[f"{what} {cones_text(numbers)}", remedy].append(name)
    return [
        Problem(f"metrics.{', '.join(names)}", found, _PRESENT, remedy)
        for (found, remedy), names in metrics.items()
    ]


def _impossible(connection: sqlite3.Connection, plan: Plan) -> list[Problem]:
    """Find stored values that no cone can have; earlier releases took them when typed."""
    rows = connection.execute(
        """SELECT r.metric, c.id, r.value FROM readings r
        JOIN measurements m ON m.id = r.measurement JOIN cones c ON c.id = m.cone
        WHERE r.value <= 0 AND c.status <> 'set aside' ORDER BY c.id, m.id"""
    )
    return [
        Problem(f"metrics.{name}", f"{value:.6g} {metric.unit} of cone {cone}", wanted, _CORRECT)
        for name, cone, value in rows
        if (metric := plan.metrics.get(name)) and (wanted := wanted_instead(metric, value))
    ]


def _foreign_ends(connection: sqlite3.Connection, plan: Plan) -> list[Problem]:
    """Find metrics whose `poor` and `good` can only be meant in another unit than the values.

    Every cone would be perfect or worthless then, and every answer sure and wrong.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan : Plan
        The present plan.

    Returns
    -------
    list of Problem
        One a metric of which all values lie beyond both ends by a factor of 30 or more (units
        differ by 60 or 1000). Levels in dB have no such factor.
    """
    problems = []
    for name, metric in plan.metrics.items():
        ends = _ends(metric)
        if metric.goal == "watch" or metric.unit == "dB" or min(ends, default=0.0) <= 0:
            continue
        low, high, count = connection.execute(
            """SELECT min(value), max(value), count(value) FROM readings r
            JOIN measurements m ON m.id = r.measurement JOIN cones c ON c.id = m.cone
            WHERE r.metric = ? AND c.status <> 'set aside'""",
            (name,),
        ).fetchone()
        if count and (low >= _FOREIGN * max(ends) or high <= min(ends) / _FOREIGN):
            problems.append(
                Problem(
                    f"metrics.{name}",
                    f"poor = {show(metric.poor)} and good = {show(metric.good)} beside values "
                    f"from {low:.6g} to {high:.6g} {metric.unit}".rstrip(),
                    "poor and good in the metric's unit",
                    "Write them in that unit, or change unit. If both are right they tell no "
                    "cone from another: move them to where the values lie.",
                )
            )
    return problems


def _ends(metric: Metric) -> list[float]:
    """Give `poor` and `good` where they are values, not the distance from a target."""
    if isinstance(metric.poor, tuple):
        ends = [*metric.poor, metric.good]
    elif metric.goal == "target":
        ends = [metric.good]
    else:
        ends = [metric.poor, metric.good]
    return [end for end in ends if end is not None]


def _cause(plan: Plan, one: Stale) -> tuple[str, str]:
    """Say what changed, and how to mend it."""
    name, unit = one.metric.name, one.metric.unit or "a plain number"
    if one.by_hand:
        was = one.was.get("unit") or "a plain number"
        what = f"a unit that is {unit} now and was {was} when values were entered for"
        if was == unit:
            what = f"another measure ({one.was.get('measure')}) when values were entered for"
        keep = f"`coneloop recompute --keep {name}`"
        if one.converted is None:
            return what, (
                f'Put it back (unit = "{one.was.get("unit")}"); or, if those numbers stand as '
                f"they are, run {keep}."
            )
        return what, (
            f"Run `coneloop recompute`, which converts them; or, if those numbers were in {unit} "
            f"all along, {keep}."
        )
    if one.reading is None:
        return "a metric that joined the plan after", _AGAIN
    if one.definition is None:
        return "values without a record of how they were computed for", _AGAIN
    if one.file is None:
        return f"values that no {one.metric.source} file stands behind for", _AGAIN
    return f"a definition that changed ({_difference(plan, one)}) since", _AGAIN


def _difference(plan: Plan, one: Stale) -> str:
    """Say in a few words what differs between two definitions."""
    later = definition_of(plan, one.metric, one.file, by_hand=False)
    now = Stale(0, 0, True, one.metric, None, False, later, None, one.file).was
    told = [
        f"{key} {show(one.was.get(key))} then, {show(now[key])} now"
        for key in ("measure", "unit", "file")
        if one.was.get(key) != now[key]
    ]
    options = one.was.get("options", {})
    told += [
        f"{key} {_shown(options.get(key))} then, {_shown(value)} now"
        for key, value in now["options"].items()
        if options.get(key) != value
    ]
    if one.was.get("method") != now["method"] and not told:
        told.append("this release of coneloop computes it in another way")
    pins = sorted(set(now["pinned"]) - set(one.was.get("pinned", ())))
    if pins:
        told.append(f"rig.files.{one.file} now states {', '.join(pins)}")
    return "; ".join(told) or "an option that the measure no longer takes"


def _shown(value: object) -> str:
    return "none" if value is None else show(value)
