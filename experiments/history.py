"""The append-only record of every act, and the way back."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

import pandas as pd

from experiments.errors import LedgerError, Problem
from experiments.store import Writer

__all__ = ["last_undoable", "read_history", "return_to", "take_back", "withdrawn_number"]

_UNDOABLE = """
    SELECT id, summary, changes FROM history
    WHERE act NOT IN ('start', 'undo')
      AND id NOT IN (SELECT undoes FROM history WHERE undoes IS NOT NULL)
    ORDER BY id DESC LIMIT 1"""


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
    """
    for (changes,) in writer.all(
        "SELECT changes FROM history WHERE id > ? ORDER BY id DESC", (act,)
    ):
        writer.revert(json.loads(changes))


def withdrawn_number(writer: Writer) -> int:
    """Give the highest cone number that an undone act had given; 0 if there is none.

    It may stand on a printed card or on the cone itself, so it is not given again. A number that
    a person typed into a spreadsheet does not count: it may have been the very mistake.
    """
    highest = 0
    for changes, arguments in writer.all(
        """SELECT changes, arguments FROM history
        WHERE act IN ('plan', 'add', 'import') AND id IN (SELECT undoes FROM history)"""
    ):
        typed = {change[1] for change in json.loads(arguments).get("changes", ())}
        made = {key for what, table, key, _ in json.loads(changes) if (what, table) == _NEW_CONE}
        highest = max(highest, *made - typed, 0)
    return highest


_NEW_CONE = ("insert", "cones")


def read_history(connection: sqlite3.Connection, limit: int | None) -> pd.DataFrame:
    """Read the acts, newest first.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection.
    limit : int or None
        How many at most.

    Returns
    -------
    pandas.DataFrame
        ``id, at, who, act, summary, arguments (dict), undone (bool), plan (digest)``.
    """
    rows = connection.execute(
        """SELECT h.id, h.at, h.who, h.act, h.summary, h.arguments, u.id IS NOT NULL, h.plan
        FROM history h LEFT JOIN history u ON u.undoes = h.id ORDER BY h.id DESC LIMIT ?""",
        (-1 if limit is None else limit,),
    ).fetchall()
    names = ["id", "at", "who", "act", "summary", "arguments", "undone", "plan"]
    columns: list[tuple[Any, ...]] = list(zip(*rows, strict=True)) if rows else [()] * len(names)
    frame = pd.DataFrame(
        {
            name: pd.Series(list(one), dtype=object)
            for name, one in zip(names, columns, strict=True)
        }
    )
    frame["arguments"] = pd.Series([json.loads(text) for text in columns[5]], dtype=object)
    return frame.astype({"id": "int64", "undone": "bool"})
