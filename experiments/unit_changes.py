"""Settings whose unit the plan called otherwise when they were recorded: 0.4 mm is not 0.4 µm.

The store keeps the text of every plan under which something was done, and the history which act
wrote which setting last. A unit that was given to numbers without one only labels them.
"""

from __future__ import annotations

import json
import sqlite3
import tomllib
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from experiments.acoustics.catalogue import convert
from experiments.plan import Plan
from experiments.store import Writer

__all__ = ["UnitChange", "change_units", "unit_changes"]

_LENGTHS = {"nm": 1e-6, "µm": 1e-3, "mm": 1.0, "cm": 10.0, "m": 1e3, "in": 25.4}
"""In millimetres."""


@dataclass(frozen=True)
class UnitChange:
    """Settings of one variable that were recorded in one other unit.

    Parameters
    ----------
    variable : str
        The variable.
    was, now : str
        Its unit then and in the present plan.
    settings : tuple of (int, int, float)
        Row, cone and number.
    """

    variable: str
    was: str
    now: str
    settings: tuple[tuple[int, int, float], ...]

    @property
    def cones(self) -> list[int]:
        """The cones that have them."""
        return [cone for _, cone, _ in self.settings]

    def converted(self) -> dict[int, float] | None:
        """Give each row's number in the present unit; None where units do not convert."""
        try:
            return {row: _convert(value, self.was, self.now) for row, _, value in self.settings}
        except ValueError:
            return None


def unit_changes(connection: sqlite3.Connection, plan: Plan) -> list[UnitChange]:
    """Find the settings that the present plan would read in another unit.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection inside a transaction.
    plan : Plan
        The present plan.

    Returns
    -------
    list of UnitChange
        Cones that are set aside do not count.
    """
    now = {
        name: variable.name
        for variable in plan.variables.values()
        if variable.numeric and variable.unit
        for name in (variable.name, variable.was)
        if name
    }
    units = {
        digest: _units(text)
        for digest, text in connection.execute("SELECT digest, text FROM plans")
    }
    doubtful = {
        name
        for name, variable in now.items()
        if any(_differ(one.get(name, ""), plan.variables[variable].unit) for one in units.values())
    }
    if not doubtful:
        return []
    written, stated = _written(connection)
    found: defaultdict[tuple[str, str], list[tuple[int, int, float]]] = defaultdict(list)
    for row, cone, name, value in connection.execute(
        """SELECT s.id, s.cone, s.variable, s.value FROM settings s JOIN cones c ON c.id = s.cone
        WHERE c.status <> 'set aside' AND typeof(s.value) <> 'text' ORDER BY s.cone"""
    ):
        variable = now.get(name)
        if variable is None or name not in doubtful:
            continue
        _, digest = max(written.get(row, (0, "")), stated.get(variable, (0, "")))
        was = units.get(digest, {}).get(name, "")
        if _differ(was, plan.variables[variable].unit):
            found[variable, was].append((row, cone, float(value)))
    return [
        UnitChange(variable, was, plan.variables[variable].unit, tuple(rows))
        for (variable, was), rows in found.items()
    ]


def change_units(writer: Writer, changes: Iterable[UnitChange], keep: Collection[str]) -> None:
    """Convert settings, or let the numbers of the variables in `keep` stand as they are.

    Parameters
    ----------
    writer : Writer
        The open act; that it was for `keep` has to be among its arguments.
    changes : iterable of UnitChange
        From `unit_changes`; all of them convertible, or kept.
    keep : collection of str
        Variables.
    """
    for change in changes:
        numbers = {} if change.variable in keep else change.converted() or {}
        for row, cone, _ in change.settings:
            if row in numbers:
                writer.update("settings", row, value=numbers[row])
            writer.update("cones", cone, version=writer.act)


def _written(
    connection: sqlite3.Connection,
) -> tuple[dict[int, tuple[int, str]], dict[str, tuple[int, str]]]:
    """Tell by row the act that wrote it last and its plan; the same of variables to keep.

    What was undone counts as never done.
    """
    written: dict[int, tuple[int, str]] = {}
    stated: dict[str, tuple[int, str]] = {}
    for act, plan, name, arguments, changes in connection.execute(
        """SELECT id, plan, act, arguments, changes FROM history
        WHERE undoes IS NULL AND (act = 'recompute' OR changes LIKE '%"settings"%')
          AND id NOT IN (SELECT undoes FROM history WHERE undoes IS NOT NULL) ORDER BY id"""
    ):
        for operation, table, row, _ in json.loads(changes):
            if table == "settings" and operation != "delete":
                written[row] = (act, plan or "")
        if name == "recompute":
            for variable in json.loads(arguments).get("keep", ()):
                stated[variable] = (act, plan or "")
    return written, stated


@lru_cache(maxsize=1000)
def _units(text: str) -> Mapping[str, str]:
    """Read the units of the variables of a plan, whatever else stands there."""
    try:
        variables = tomllib.loads(text).get("variables", {})
    except (tomllib.TOMLDecodeError, RecursionError):
        return {}
    return {
        name: str(keys["unit"])
        for name, keys in variables.items()
        if isinstance(keys, dict) and keys.get("unit")
    }


def _differ(was: str, now: str) -> bool:
    return bool(was) and _plain(was) != _plain(now)


def _plain(unit: str) -> str:
    """Write the Greek letter as the sign, and a u that stands for it."""
    return {"μm": "µm", "um": "µm"}.get(unit.strip(), unit.strip())


def _convert(value: float, was: str, now: str) -> float:
    was, now = _plain(was), _plain(now)
    if was in _LENGTHS and now in _LENGTHS:
        value = value * _LENGTHS[was] / _LENGTHS[now]
    else:
        value = convert(value, was, now)
    # Round numbers stay round: 0.3 mm is 300 µm.
    return float(f"{value:.12g}")
