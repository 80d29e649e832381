"""The table of trials: one row a measurement, put together from the store without row loops."""

from __future__ import annotations

import math
import sqlite3
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.acoustics.catalogue import resolve
from experiments.circumstances import CIRCUMSTANCES
from experiments.plan import Metric, Plan, Variable
from experiments.space import Space

__all__ = [
    "LEADING",
    "WEIGHED",
    "active_settings",
    "cone_recipes",
    "is_mass",
    "trials_frame",
    "with_records",
]

LEADING = ("cone", "status", "plate", "session", *CIRCUMSTANCES)
"""The columns that stand before the variables and the metrics."""

WEIGHED = "mass on printing"
"""The column of the mass in grams that was given on printing; no metric can have such a name."""

_ROWS = f"""
    SELECT c.id, c.status, c.plate, s.name, m.id,
           CASE WHEN m.id IS NULL THEN c.note ELSE m.note END, c.version, c.mass_g, c.minutes,
           CASE c.aside WHEN '' THEN c.failure ELSE c.aside END, {", ".join(CIRCUMSTANCES)}
    FROM cones c LEFT JOIN measurements m ON m.cone = c.id LEFT JOIN sessions s ON s.id = m.session
    ORDER BY c.id, m.id"""

_REMARKS = "SELECT id, note FROM cones ORDER BY id"

Floats = npt.NDArray[np.float64]
Integers = npt.NDArray[np.int64]


def is_mass(metric: Metric) -> bool:
    """Whether a metric is the cone's mass in grams, which may also be given on printing."""
    if metric.source != "hand" or metric.unit not in ("", "g"):
        return False
    try:
        return resolve(metric.measure).name == "mass_g"
    except KeyError:
        return False


def trials_frame(connection: sqlite3.Connection, plan: Plan, space: Space) -> pd.DataFrame:
    """Build the table, with the columns that only the spreadsheet needs at its end.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection inside a transaction.
    plan : Plan
        The present plan: its variables and metrics are the columns.
    space : Space
        Its recipes.

    Returns
    -------
    pandas.DataFrame
        ``LEADING``, one column a variable (NaN or None where inactive), one a metric, then
        ``measurement, note, version``, `WEIGHED`, ``print_minutes, why``.
    """
    rows = connection.execute(_ROWS).fetchall()
    columns = list(zip(*rows, strict=True)) if rows else [()] * (10 + len(CIRCUMSTANCES))
    cones = np.array(columns[0], dtype=np.int64)
    numbers, place = np.unique(cones, return_inverse=True)
    frame = {
        "cone": pd.Series(cones),
        "status": pd.Series(list(columns[1]), dtype=object),
        "plate": pd.Series(list(columns[2]), dtype="Int64"),
        "session": pd.Series(list(columns[3]), dtype=object),
        **{name: pd.Series(_floats(columns[10 + at])) for at, name in enumerate(CIRCUMSTANCES)},
    }
    recipes = cone_recipes(connection, plan, space, numbers)
    for name in plan.variables:
        frame[name] = recipes[name].iloc[place].reset_index(drop=True)
    mass = _floats(columns[7])
    measurements = _floats(columns[4])
    for name, metric in plan.metrics.items():
        values = _readings(connection, name, measurements)
        if is_mass(metric):
            values = np.where(np.isnan(values) & ~np.isnan(measurements), mass, values)
        frame[name] = pd.Series(values)
    frame["measurement"] = pd.Series(list(columns[4]), dtype="Int64")
    frame["note"] = pd.Series(list(columns[5]), dtype=object)
    frame["version"] = pd.Series(np.array(columns[6], dtype=np.int64))
    frame[WEIGHED] = pd.Series(mass)
    frame["print_minutes"] = pd.Series(_floats(columns[8]))
    frame["why"] = pd.Series(list(columns[9]), dtype=object)
    return pd.DataFrame(frame)


def with_records(connection: sqlite3.Connection, plan: Plan, frame: pd.DataFrame) -> pd.DataFrame:
    """Add to the table what else people want to see of a cone.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection inside the transaction in which the table was built.
    plan : Plan
        The present plan.
    frame : DataFrame
        As `trials_frame` gives it.

    Returns
    -------
    pandas.DataFrame
        The table, but a mass that was given on printing shows before the cone is
        measured, too; then ``remark`` (on the cone, where `note` is on the measurement).
    """
    frame = frame.copy()
    unmeasured = frame["measurement"].isna()
    for name, metric in plan.metrics.items():
        if is_mass(metric):
            frame[name] = frame[name].where(~unmeasured, frame[WEIGHED])
    remarks = dict(connection.execute(_REMARKS).fetchall())
    frame["remark"] = pd.Series([remarks[cone] for cone in frame["cone"]], dtype=object)
    return frame


def cone_recipes(
    connection: sqlite3.Connection, plan: Plan, space: Space, numbers: Integers
) -> pd.DataFrame:
    """Read the recipes of some cones under the present plan.

    A variable that joined the plan after a cone was made takes its ``before`` value there, or
    stays unknown. What the plan calls inactive is NaN or None.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    plan, space
        The present plan and its recipes.
    numbers : ndarray of int, shape (n,)
        Cone numbers in ascending order, each once.

    Returns
    -------
    pandas.DataFrame, shape (n, variables)
        In the order of `numbers`.
    """
    frame = pd.DataFrame(
        {
            name: _settings(connection, variable, numbers)
            for name, variable in plan.variables.items()
        },
        index=pd.RangeIndex(len(numbers)),
    )
    if not len(numbers):
        return frame
    # A parent's `before` may make a child active: once round for each level of the tree.
    for _ in range(len(plan.variables)):
        if not _fill_earlier(frame, plan, active_settings(frame, plan, space)):
            break
    active = active_settings(frame, plan, space)
    lost = _below_lost_levels(frame, plan)
    for name, variable in plan.variables.items():
        gone = ~active[name].to_numpy(dtype=bool) & ~lost[name]
        if gone.any():
            column = frame[name].to_numpy(copy=True)
            column[gone] = math.nan if variable.numeric else None
            frame[name] = pd.Series(column, dtype=frame[name].dtype)
    return frame


def active_settings(frame: pd.DataFrame, plan: Plan, space: Space) -> pd.DataFrame:
    """Tell what is active in recorded recipes.

    Parameters
    ----------
    frame : DataFrame
        From `cone_recipes`; a level that the plan has dropped since counts as unknown.
    plan, space
        The present plan and its recipes.

    Returns
    -------
    DataFrame of bool, shape (n, variables)
    """
    known = frame.copy()
    for name, variable in plan.variables.items():
        if variable.words is not None:
            column = frame[name].to_numpy(dtype=object)
            kept = [word if word in variable.words else None for word in column]
            known[name] = pd.Series(kept, dtype=object)
    return space.active(known)


def _below_lost_levels(frame: pd.DataFrame, plan: Plan) -> dict[str, npt.NDArray[np.bool_]]:
    """Tell where nothing says whether a variable is active: the plan has dropped a level above.

    What such a cone had is shown as it is stored.
    """
    lost: dict[str, npt.NDArray[np.bool_]] = {}

    def below(name: str) -> npt.NDArray[np.bool_]:
        if name not in lost:
            lost[name] = np.zeros(len(frame), dtype=bool)
            for parent in plan.variables[name].only_when:
                words = plan.variables[parent].words
                known = frame[parent].isna() | (words is None or frame[parent].isin(words))
                lost[name] = lost[name] | ~known.to_numpy(dtype=bool) | below(parent)
        return lost[name]

    for name in plan.variables:
        below(name)
    return lost


def _fill_earlier(frame: pd.DataFrame, plan: Plan, active: pd.DataFrame) -> bool:
    filled = False
    for name, variable in plan.variables.items():
        if variable.before is None:
            continue
        empty = frame[name].isna().to_numpy() & active[name].to_numpy(dtype=bool)
        if empty.any():
            column = frame[name].to_numpy(copy=True)
            column[empty] = variable.before
            frame[name] = pd.Series(column, dtype=frame[name].dtype)
            filled = True
    return filled


def _settings(
    connection: sqlite3.Connection, variable: Variable, numbers: Integers
) -> pd.Series[Any]:
    # Where a cone has both the old and the new name, the new one comes last and stands.
    found = connection.execute(
        """SELECT cone, value FROM settings WHERE variable = :name OR variable = :was
        ORDER BY cone, variable = :name""",
        {"name": variable.name, "was": variable.was or variable.name},
    ).fetchall()
    column: npt.NDArray[Any] = (
        np.full(len(numbers), np.nan)
        if variable.numeric
        else np.full(len(numbers), None, dtype=object)
    )
    if found and len(numbers):
        cones, values = zip(*found, strict=True)
        take, at = _places(np.array(cones, dtype=np.int64), numbers)
        now = {old: level for level, old in variable.were.items()}
        typed = [
            _number(one) if variable.numeric else now.get(str(one), str(one)) for one in values
        ]
        column[at] = np.array(typed, dtype=column.dtype)[take]
    # dtype=object is said aloud: pandas 3 would otherwise guess its own text type.
    return pd.Series(column, dtype=column.dtype)


def _number(value: float | str) -> float:
    # A variable may have been a choice in an earlier plan; words are then unknown numbers.
    try:
        return float(value)
    except ValueError:
        return math.nan


def _readings(connection: sqlite3.Connection, metric: str, measurements: Floats) -> Floats:
    found = connection.execute(
        "SELECT measurement, value FROM readings WHERE metric = ? ORDER BY measurement", (metric,)
    ).fetchall()
    values = np.full(len(measurements), np.nan)
    if found:
        keys, readings = zip(*found, strict=True)
        order = np.argsort(measurements)  # NaN (not measured) goes to the end
        ranked = measurements[order]
        take, at = _places(np.array(keys, dtype=np.float64), ranked)
        values[order[at]] = _floats(readings)[take]
    return values


def _places(wanted: npt.NDArray[Any], known: npt.NDArray[Any]) -> tuple[Integers, Integers]:
    """Find the indices into `wanted`, and those into the sorted `known` where those stand."""
    at = np.searchsorted(known, wanted)
    inside = at < len(known)
    inside[inside] = known[at[inside]] == wanted[inside]
    take = np.flatnonzero(inside)
    return take, at[take]


def _floats(values: Sequence[float | None]) -> Floats:
    return np.array([math.nan if one is None else one for one in values], dtype=np.float64)
