"""A store that comes from elsewhere: looked through before anything of ours opens it.

A database can hold more than data: triggers and views run as code of SQLite when a table is used
(https://www.sqlite.org/security.html, section 1). Only the layout that this release makes itself
is let in, and only a history that changes nothing but its tables.
"""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from experiments.archives import one_line
from experiments.checking import check_store
from experiments.errors import ArchiveError, LedgerError, Problem
from experiments.schema import MIGRATIONS, STATE_TABLES, check_identity

__all__ = ["check_stranger", "orders_terminal"]

_REMEDY = "Do not use it; ask for the archive again."

_JSON = {
    "history": ("arguments", "changes"),
    "proposals": ("details",),
    "measurements": ("warnings",),
    "curves": ("options",),
    "readings": ("definition",),
}
"""Columns in which the store keeps JSON."""


def check_stranger(path: Path, name: str, *, backup: bool = False) -> None:
    """Make sure that a store is one of ours, undamaged, and holds data only.

    Parameters
    ----------
    path : Path
        The file, without a log beside it. It is opened for reading only.
    name : str
        What to call it in messages.
    backup : bool
        Whether it has the further table of a backup (`experiments.copies`).

    Raises
    ------
    ArchiveError
        For a foreign, newer, damaged or tampered store.
    """
    try:
        with _opened(path) as connection:
            version = check_identity(connection, Path(name))
            problems = _odd_layout(connection, version, name, backup=backup)
            # Its rows are read only once the tables are known to be plain ones.
            problems = problems or check_store(connection, Path(name))
            problems = problems or _odd_texts(connection, name)
            problems = problems or _odd_json(connection, name) or _odd_changes(connection, name)
    except LedgerError as error:
        raise ArchiveError(*error.problems) from None
    except (sqlite3.Error, ValueError) as error:  # a text that is no UTF-8 is a ValueError
        found = f"trouble: {one_line(str(error).partition(' with text ')[0])}"
        raise ArchiveError(Problem(name, found, "a sound store", _REMEDY)) from None
    if problems:
        raise ArchiveError(*problems)


@contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    uri = f"{path.absolute().as_uri()}?mode=ro&immutable=1"
    with closing(sqlite3.connect(uri, uri=True, isolation_level=None)) as connection:
        connection.execute("PRAGMA trusted_schema = OFF")
        connection.execute("PRAGMA cell_size_check = ON")
        connection.execute("PRAGMA mmap_size = 0")
        yield connection


_LAYOUT = "SELECT type, name, tbl_name, sql FROM sqlite_schema ORDER BY type, name"


def _layout(connection: sqlite3.Connection) -> set[tuple[Any, ...]]:
    return {
        (*row[:3], " ".join(str(row[3]).split())) for row in connection.execute(_LAYOUT).fetchall()
    }


_BACKUP = "CREATE TABLE backup (at TEXT, plan TEXT, sha256 TEXT)"


def _odd_layout(
    connection: sqlite3.Connection, version: int, name: str, *, backup: bool
) -> list[Problem]:
    """Compare the layout with one that is made afresh, to the letter but for spaces."""
    with closing(sqlite3.connect(":memory:", isolation_level=None)) as fresh:
        for statements in [*MIGRATIONS[:version], *([[_BACKUP]] if backup else [])]:
            for statement in statements:
                fresh.execute(statement)
        ours, theirs = _layout(fresh), _layout(connection)
    parts = sorted({f"{row[0]} {row[1]}"[:60] for row in ours ^ theirs})
    if not parts:
        return []
    found = f"a layout that differs: {', '.join(map(repr, parts[:5]))}"
    return [Problem(name, found, f"that of store version {version}", _REMEDY)]


def orders_terminal(value: Any) -> bool:
    """Whether a text, or one inside tables and lists, could give orders to a terminal.

    Parameters
    ----------
    value : object
        As TOML or JSON gives it. ESC and CSI begin an order: ECMA-48, 5.4.
    """
    if isinstance(value, dict):
        return any(map(orders_terminal, (*value, *value.values())))
    if isinstance(value, list):
        return any(map(orders_terminal, value))
    return isinstance(value, str) and ("\x1b" in value or "\x9b" in value)


def _odd_texts(connection: sqlite3.Connection, name: str) -> list[Problem]:
    """Find texts that would give orders to the terminal on which they are shown."""
    tables = [
        table
        for (table,) in connection.execute(
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'files'"
        )
    ]
    for table in tables:
        columns = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
        hits = " OR ".join(
            f"instr({column}, char({code})) OR instr(lower({column}), '\\u00{code:02x}')"
            for column in columns
            for code in (0x1B, 0x9B)
        )
        row = connection.execute(f"SELECT {columns[0]} FROM {table} WHERE {hits}").fetchone()
        if row is not None:
            where = f"{name}, table {table}, row {row[0]}"
            return [Problem(where, "a text with orders to a terminal", "plain texts", _REMEDY)]
    return []


def _odd_json(connection: sqlite3.Connection, name: str) -> list[Problem]:
    problems = []
    for table, columns in _JSON.items():
        known = {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
        for column in known.intersection(columns):
            row = connection.execute(
                f"SELECT rowid FROM {table} WHERE {column} IS NOT NULL "
                f"AND (typeof({column}) <> 'text' OR NOT json_valid({column})) LIMIT 1"
            ).fetchone()
            if row is not None:
                where = f"{name}, table {table}, row {row[0]}, {column}"
                problems.append(Problem(where, "no JSON", "JSON", _REMEDY))
    return problems


def _odd_changes(connection: sqlite3.Connection, name: str) -> list[Problem]:
    """Look through the way back: `undo` writes what stands there into the tables named there."""
    columns = {
        table: {row[1] for row in connection.execute(f"PRAGMA table_info({table})")}
        for table in STATE_TABLES
    }
    for key, text in connection.execute("SELECT id, changes FROM history ORDER BY id"):
        try:
            changes = json.loads(text)
        except RecursionError:
            changes = None
        if not isinstance(changes, list) or not all(_plain(one, columns) for one in changes):
            found = "changes that no act of ours makes"
            return [Problem(f"{name}, history {key}", found, "rows of the table", _REMEDY)]
    return []


def _plain(change: Any, columns: dict[str, set[str]]) -> bool:
    if not isinstance(change, list) or len(change) != 4:
        return False
    operation, table, key, before = change
    if table not in columns or not isinstance(key, int):
        return False
    if operation == "insert":
        return before is None
    return (
        operation in ("update", "delete")
        and isinstance(before, dict)
        and bool(before)
        and before.keys() <= columns[table]
        and all(isinstance(one, str | int | float | None) for one in before.values())
    )
