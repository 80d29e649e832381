"""Rows of a rescued store whose parents are lost: stand-ins that say so."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

from experiments.seals import columns_of

__all__ = ["give_parents"]

_WORDS = "lost in damage"


def give_parents(connection: sqlite3.Connection, kept: dict[str, int]) -> list[str]:
    """Put stand-ins in the place of lost rows that others belong to.

    A cone that stands in is set aside, so that it counts nowhere until the maker has looked at it;
    a measurement is one only where the history still says of which cone. What finds no place is
    taken out of the store and told word by word.

    Parameters
    ----------
    connection : sqlite3.Connection
        The new store, inside a transaction; references are not enforced yet.
    kept : dict of str to int
        Rows of each table; reduced by those that find no place.

    Returns
    -------
    list of str
        What stands in, and what found no place.
    """
    told: list[str] = []
    while broken := connection.execute("PRAGMA foreign_key_check").fetchall():
        for table, rowid, parent, which in broken:
            column = connection.execute(f"PRAGMA foreign_key_list({table})").fetchall()[which][3]
            key = connection.execute(
                f"SELECT {column} FROM {table} WHERE rowid = ?", (rowid,)
            ).fetchone()
            if key is not None:
                told += _give_parent(connection, table, rowid, parent, key[0], kept)
    return told


def _give_parent(
    connection: sqlite3.Connection,
    table: str,
    rowid: int,
    parent: str,
    key: Any,
    kept: dict[str, int],
) -> list[str]:
    first = columns_of(connection, parent)[0]
    if connection.execute(f"SELECT 1 FROM {parent} WHERE {first} = ?", (key,)).fetchone():
        return []
    row = _stand_in(connection, parent, key)
    if row is None:
        return [_take_out(connection, table, rowid, parent, kept)]
    names, marks = ", ".join(row), ", ".join("?" * len(row))
    connection.execute(f"INSERT INTO {parent} ({names}) VALUES ({marks})", tuple(row.values()))
    if parent == "cones":
        return [f"cone {key} itself; what was found of it is kept, and the cone is set aside"]
    if parent == "measurements":
        return [
            f"the circumstances of measurement {key} of cone {row['cone']}; its values are kept"
        ]
    return []


def _take_out(
    connection: sqlite3.Connection, table: str, rowid: int, parent: str, kept: dict[str, int]
) -> str:
    names = columns_of(connection, table)
    row = connection.execute(
        f"SELECT {', '.join(names)} FROM {table} WHERE rowid = ?", (rowid,)
    ).fetchone()
    connection.execute(f"DELETE FROM {table} WHERE rowid = ?", (rowid,))
    kept[table] -= 1
    if parent == "files":
        content = dict(zip(names, row, strict=True))
        (cone,) = connection.execute(
            "SELECT cone FROM measurements WHERE id = ?", (content["measurement"],)
        ).fetchone() or ("?",)
        which = f"measurement {content['measurement']} of cone {cone}"
        return f"the raw file {content['name']} of {which}, SHA-256 {content['sha256']}"
    told = json.dumps(dict(zip(names, row, strict=True)), ensure_ascii=False)
    return f"the place of a row of {table}, for its row in {parent} is lost: {told}"


def _stand_in(connection: sqlite3.Connection, table: str, key: Any) -> dict[str, Any] | None:
    match table:
        case "cones":
            why = f"its record was {_WORDS}: look it through, then put it back"
            return {
                "id": key,
                "status": "set aside",
                "origin": "added",
                "aside": why,
                "version": 0,
            }
        case "sessions":
            return {"id": key, "name": f"session {key}, its name {_WORDS}", "at": ""}
        case "proposals":
            return {"id": key, "at": "", "plan": "", "details": json.dumps({"lost": _WORDS})}
        case "plans":
            return {"digest": key, "text": f"# {_WORDS}\n", "first_seen": ""}
        case "history":
            lost = {"act": "lost", "summary": _WORDS, "arguments": "{}", "changes": "[]"}
            return {"id": key, "at": "", "who": "", **lost}
        case "measurements":
            return _measurement(connection, key)
    return None


def _measurement(connection: sqlite3.Connection, key: int) -> dict[str, Any] | None:
    """Find in the history of which cone, and in which session, a lost measurement was."""
    for at, arguments, changes in connection.execute(
        "SELECT at, arguments, changes FROM history WHERE act = 'measure' ORDER BY id DESC"
    ):
        if ["insert", "measurements", key, None] not in json.loads(changes):
            continue
        given = json.loads(arguments)
        (free,) = connection.execute("SELECT coalesce(max(id), 0) + 1 FROM sessions").fetchone()
        row = connection.execute(
            "SELECT id FROM sessions WHERE name = ?", (str(given["session"]).strip(),)
        ).fetchone()
        note = f"its record was {_WORDS}; cone and session are those of the history"
        return {
            "id": key,
            "cone": given["cone"],
            "session": row[0] if row else free,
            "at": at,
            "note": note,
        }
    return None
