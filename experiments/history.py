"""The append-only record of every act, and the way back."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

import pandas as pd

from experiments.errors import LedgerError, Problem
from experiments.store import Writer

__all__ = [
    "acts_to_undo",
    "last_undoable",
    "newest_act",
    "read_history",
    "return_to",
    "take_back",
    "withdrawn_number",
]

# What a rescue could not read is gone from the history, so no way leads back beyond it.
_UNDOABLE = """
    SELECT id, summary, changes FROM history
    WHERE act NOT IN ('start', 'undo', 'restore', 'rescue')
      AND id > (SELECT coalesce(max(id), 0) FROM history WHERE act = 'rescue')
      AND id NOT IN (SELECT undoes FROM history WHERE undoes IS NOT NULL)
    ORDER BY id DESC"""


def last_undoable(writer: Writer) -> tuple[int, str, list[list[Any]]]:
    """Find the last act that is still in force.

    Parameters
    ----------
    writer : Writer
        The open act.

    Returns
    -------
    tuple
        Its number, its summary and its changes.

    Raises
    ------
    LedgerError
        If everything is undone already.
    """
    row = writer.one(_UNDOABLE)
    if row is None:
        raise LedgerError(
            Problem("history", "nothing left to undo", "an act that is still in force")
        )
    return int(row[0]), str(row[1]), json.loads(row[2])


def acts_to_undo(connection: sqlite3.Connection, act: int) -> list[int]:
    """List what `take_back` has to undo, one by one, so that all after `act` is undone.

    Raises
    ------
    LedgerError
        If there is no such act, or a rescue lies between.
    """
    known = connection.execute(
        """SELECT 1 FROM history WHERE id = ?1
        AND ?1 >= (SELECT coalesce(max(id), 0) FROM history WHERE act = 'rescue')""",
        (act,),
    ).fetchone()
    if known is None:
        raise LedgerError(
            Problem(
                "act", f"{act}", "an act of the history", "Look at the history for its number."
            )
        )
    return [number for number, *_ in connection.execute(_UNDOABLE) if number > act]


def take_back(writer: Writer, expected: int | None = None) -> tuple[int, str]:
    """Undo the last act that is still in force.

    Parameters
    ----------
    writer : Writer
        The open act.
    expected : int, optional
        The act that it has to be.

    Returns
    -------
    tuple
        The number of the act that was undone, and its summary.

    Raises
    ------
    LedgerError
        If everything is undone already, or another act comes first.
    """
    act, summary, changes = last_undoable(writer)
    if expected is not None and act != expected:
        raise LedgerError(
            Problem(
                f"act {expected}",
                f"act {act} ({summary}) that comes first",
                "the last act in force",
                "Look at the history again.",
            )
        )
    writer.revert(changes)
    return act, summary


def return_to(writer: Writer, act: int) -> None:
    """Bring the state tables back to what they were right after an act.

    Undoing is an act like others here, so the way leads through every later row.

    Raises
    ------
    LedgerError
        If the history does not lead there: a backup was put back since, or something was lost.
    """
    known = writer.one("SELECT 1 FROM history WHERE id = ?", (act,))
    gap = writer.one("SELECT 1 FROM history WHERE id > ? AND act = 'rescue'", (act,))
    if known is None or gap is not None:
        remedy = "Export the table again and make the edits there."
        expected = "one from which the history leads to the present"
        raise LedgerError(Problem("history", f"act {act} of former days", expected, remedy))
    for (changes,) in writer.all(
        "SELECT changes FROM history WHERE id > ? ORDER BY id DESC", (act,)
    ):
        writer.revert(json.loads(changes))


def withdrawn_number(writer: Writer, *, present: bool = False) -> int:
    """Give the highest cone number that was given and is no more; 0 if there is none.

    An undone act gave it, or one that is not in a backup which was put back. It may stand on a
    printed card or on the cone itself, so it is not given again. A number that
    a person typed into a spreadsheet does not count: it may have been the very mistake. With
    `present` the cones that are there count as well.
    """
    row = writer.one("SELECT coalesce(max(id), 0) FROM cones") if present else None
    highest = int(row[0]) if row else 0
    for changes, arguments in writer.all(
        """SELECT changes, arguments FROM history
        WHERE act IN ('plan', 'add', 'import') AND id IN (SELECT undoes FROM history)"""
    ):
        typed = {change[1] for change in json.loads(arguments).get("changes", ())}
        made = {key for what, table, key, _ in json.loads(changes) if (what, table) == _NEW_CONE}
        highest = max(highest, *made - typed, 0)
    for (arguments,) in writer.all("SELECT arguments FROM history WHERE act = 'restore'"):
        highest = max(highest, json.loads(arguments)["highest_cone"])
    return highest


_NEW_CONE = ("insert", "cones")


def newest_act(connection: sqlite3.Connection, *, notes: bool = True) -> int:
    """Give the number of the last act; without `notes`, of the last that was no note."""
    kinds = "" if notes else " WHERE act <> 'note'"
    found: int = connection.execute(
        f"SELECT id FROM history{kinds} ORDER BY id DESC LIMIT 1"
    ).fetchone()[0]
    return found


def read_history(
    connection: sqlite3.Connection, limit: int | None, cone: int | None = None
) -> pd.DataFrame:
    """Read the acts, newest first.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    limit : int or None
        How many at most.
    cone : int, optional
        Only those that touched this cone.

    Returns
    -------
    pandas.DataFrame
        ``id, at, who, act, summary, arguments (dict), undone (bool), plan (digest)``; with `cone`
        also ``was`` (dict): what of it an act overwrote, and what that was before.

    Raises
    ------
    LedgerError
        If no act ever touched the cone.
    """
    rows = connection.execute(
        """SELECT h.id, h.at, h.who, h.act, h.summary, h.arguments, u.id IS NOT NULL, h.plan,
        h.changes FROM history h LEFT JOIN history u ON u.undoes = h.id ORDER BY h.id DESC
        LIMIT ?""",
        (-1 if limit is None or cone is not None else limit,),
    ).fetchall()
    names = ["id", "at", "who", "act", "summary", "arguments", "undone", "plan", "was"]
    if cone is None:
        names.pop()
        rows = [row[:-1] for row in rows]
    else:
        owned = _owned(connection, cone)
        rows = [
            (*row[:-1], _overwritten(changes, cone, owned))
            for row in rows
            if _touches(row[5], changes := json.loads(row[8]), cone)
        ]
        if not rows:
            known = "a cone that was recorded at some time"
            raise LedgerError(Problem("cone", f"{cone}", known, "Look at the table."))
    rows = rows[:limit]
    columns: list[tuple[Any, ...]] = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    frame = pd.DataFrame(
        {
            name: pd.Series(list(one), dtype=object)
            for name, one in zip(names, columns, strict=True)
        }
    )
    frame["arguments"] = pd.Series([json.loads(text) for text in columns[5]], dtype=object)
    return frame.astype({"id": "int64", "undone": "bool"})


Changes = list[list[Any]]


def _touches(arguments: str, changes: Changes, cone: int) -> bool:
    """Whether an act touched a cone: all but remarks write into its row."""
    if any(table == "cones" and key == cone for _, table, key, _ in changes):
        return True
    return bool(changes) and json.loads(arguments).get("cone") == cone


def _owned(connection: sqlite3.Connection, cone: int) -> dict[tuple[str, int], str]:
    """Name the values of a cone by their place in the store."""
    owned = {("cones", cone): ""}
    for table, sql in (
        ("settings", "SELECT id, variable FROM settings WHERE cone = ?"),
        ("measurements", "SELECT id, '' FROM measurements WHERE cone = ?"),
        (
            "readings",
            """SELECT r.id, r.metric FROM readings r JOIN measurements m ON m.id = r.measurement
            WHERE m.cone = ?""",
        ),
    ):
        owned |= {(table, key): name for key, name in connection.execute(sql, (cone,))}
    return owned


_INNER = ("version", "by_hand", "definition", "warnings")
"""Columns that follow from the others."""


def _overwritten(changes: Changes, cone: int, owned: dict[tuple[str, int], str]) -> dict[str, Any]:
    """Give what an act overwrote of a cone: the name of each value, and what it was."""
    was: dict[str, Any] = {}
    for _, table, key, before in changes:
        name = owned.get((table, key))
        if table == "settings" and name is None and before and before.get("cone") == cone:
            name = before["variable"]  # the row is gone: the variable is not active any more
        if name is None:
            continue
        for column, value in (before or {}).items():
            if name and column == "value":
                was[name] = value
            elif not name and column not in _INNER:
                was[column] = value
    return was
