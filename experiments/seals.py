"""Seals: by which a row, and the whole of a table, are known to be as coneloop wrote them.

SQLite keeps no checksums, so a flipped bit can be a valid number
(https://www.sqlite.org/howtocorrupt.html, section 4; https://www.sqlite.org/cksumvfs.html, of
which Python's SQLite has nothing). Each row therefore bears a seal over its table's name and all
its values, and the table ``totals`` the count and the sum of the seals of each table: a changed
row is known by its seal, a row that is missing, doubled or put back by the sum. Raw files need
none, for their SHA-256 is their name.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections import defaultdict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any

__all__ = [
    "SEALED_SINCE",
    "Tally",
    "broken_seals",
    "columns_of",
    "reseal",
    "seal",
    "sealed_tables",
]

SEALED_SINCE = 4
"""The first version of a store that has seals."""
_BITS = 48
"""Few enough that SQLite adds two of them as integers; 1 changed row in 10^14 goes unseen."""
_MASK = (1 << _BITS) - 1
_LAYOUT = "sqlite_schema"
_TOLD = 5
"""Broken rows of one table that are named; the rest is counted."""


def seal(table: str, values: Sequence[Any]) -> int:
    """Give the seal of a row.

    Parameters
    ----------
    table : str
        The table.
    values : sequence
        What SQLite gives for the row's columns in their order, without the seal.

    Returns
    -------
    int
        48 bits of BLAKE2b (RFC 7693). `ascii` writes integers, floats, texts and None so that no
        two differ by nothing, and alike in every release of Python.
    """
    text = f"{table}{tuple(values)!a}"
    return int.from_bytes(hashlib.blake2b(text.encode(), digest_size=_BITS // 8).digest(), "big")


class Tally:
    """What the rows that one act seals and unseals add to the totals."""

    def __init__(self) -> None:
        self._changes: defaultdict[str, list[int]] = defaultdict(lambda: [0, 0])

    def add(self, table: str, value: int) -> None:
        """Count a row in by its seal."""
        self._changes[table][0] += 1
        self._changes[table][1] += value

    def remove(self, table: str, value: int) -> None:
        """Count a row out by the seal that it had."""
        self._changes[table][0] -= 1
        self._changes[table][1] -= value

    def write(self, connection: sqlite3.Connection) -> None:
        """Bring the totals up, inside the act's transaction."""
        for table, (rows, total) in self._changes.items():
            connection.execute(
                f"UPDATE totals SET rows = rows + ?, sum = (sum + ?) & {_MASK} WHERE name = ?",
                (rows, total & _MASK, table),
            )
        self._changes.clear()


def columns_of(connection: sqlite3.Connection, table: str) -> list[str]:
    """Name the columns of a table in their order, without the seal."""
    rows = connection.execute("SELECT name FROM pragma_table_info(?)", (table,)).fetchall()
    return [name for (name,) in rows if name != "seal"]


def sealed_tables(connection: sqlite3.Connection) -> list[str]:
    """Name the tables whose rows bear seals."""
    rows = connection.execute(
        """SELECT m.name FROM sqlite_schema m, pragma_table_info(m.name) c
        WHERE m.type = 'table' AND c.name = 'seal' ORDER BY m.name"""
    )
    return [str(name) for (name,) in rows]


@contextmanager
def unguarded(connection: sqlite3.Connection) -> Iterator[None]:
    """Take away, inside a transaction, the triggers that keep the archive as it is."""
    guards = connection.execute(
        "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
    ).fetchall()
    for name, _ in guards:
        connection.execute(f"DROP TRIGGER {name}")
    yield
    for _, sql in guards:
        connection.execute(sql)


def reseal(connection: sqlite3.Connection) -> None:
    """Seal every row anew, after a change of the layout; inside a transaction.

    Parameters
    ----------
    connection : sqlite3.Connection
        Its rows must be known to be right.
    """
    with unguarded(connection):
        connection.execute("DELETE FROM totals")
        for table in sealed_tables(connection):
            _reseal_table(connection, table)
    total = _layout(connection)
    connection.execute("INSERT INTO totals (name, rows, sum) VALUES (?, ?, ?)", (_LAYOUT, *total))


def _reseal_table(connection: sqlite3.Connection, table: str) -> None:
    columns = columns_of(connection, table)
    found = connection.execute(f"SELECT {', '.join(columns)} FROM {table}").fetchall()
    # The first column is the key of every table.
    pairs = [(seal(table, row), row[0]) for row in found]
    connection.executemany(f"UPDATE {table} SET seal = ? WHERE {columns[0]} = ?", pairs)
    total = sum(value for value, _ in pairs) & _MASK
    connection.execute(
        "INSERT INTO totals (name, rows, sum) VALUES (?, ?, ?)", (table, len(pairs), total)
    )


def _layout(connection: sqlite3.Connection) -> tuple[int, int]:
    """Count and seal the layout itself: its statements and its version."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    rows = connection.execute(
        """SELECT type, name, tbl_name, sql FROM sqlite_schema
        WHERE tbl_name <> 'backup' ORDER BY type, name"""
    ).fetchall()
    return len(rows), seal(_LAYOUT, (version, *rows))


def broken_seals(connection: sqlite3.Connection) -> list[tuple[str, str]]:
    """Find what is not as coneloop wrote it.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection with a consistent view, of a store that has seals.

    Returns
    -------
    list of (str, str)
        Place and finding; empty when all is well.
    """
    rows = connection.execute("SELECT name, rows, sum FROM totals").fetchall()
    totals = {name: (count, total) for name, count, total in rows}
    if totals.pop(_LAYOUT, None) != _layout(connection):
        return [("layout", "tables that are not as coneloop made them")]
    found: list[tuple[str, str]] = []
    tables = sealed_tables(connection)
    for table in tables:
        found += _broken_rows(connection, table, totals.pop(table, None))
    return found + [("table totals", f"a line {name!r}") for name in totals]


def _broken_rows(
    connection: sqlite3.Connection, table: str, expected: tuple[int, int] | None
) -> list[tuple[str, str]]:
    columns = ", ".join(columns_of(connection, table))
    broken: list[tuple[str, str]] = []
    count = total = 0
    for *values, kept in connection.execute(f"SELECT {columns}, seal FROM {table}"):
        count += 1
        total += kept if isinstance(kept, int) else 0
        if seal(table, values) != kept:
            broken.append((f"table {table}", f"a changed row {values[0]!r}"))
    if not broken and (count, total & _MASK) != expected:
        kept = expected[0] if expected else "no"
        broken.append((f"table {table}", f"{count} rows, not the {kept} that were written"))
    more = len(broken) - _TOLD
    told = [(f"table {table}", f"{more} more changed rows")] if more > 0 else []
    return broken[:_TOLD] + told
