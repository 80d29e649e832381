"""Writing into a store inside one act: with a way back, and every row sealed."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Mapping, Sequence
from typing import Any

from experiments.errors import LedgerError, Problem
from experiments.seals import Tally, columns_of, seal

__all__ = ["Writer"]

Row = tuple[Any, ...]


class Writer:
    """Changes the state tables and remembers what was there before.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection inside a transaction.
    act : int
        The number that the act will have in the history.
    at : str
        The time of the act, ISO 8601, UTC.

    Attributes
    ----------
    connection : sqlite3.Connection
        For reading inside the transaction.
    changes : list
        ``[operation, table, id, before]`` in the order of writing; `before` is None for an
        insert, the overwritten columns for an update, the whole row for a delete. Seals are no
        part of it.
    """

    def __init__(self, connection: sqlite3.Connection, act: int, at: str) -> None:
        self.connection = connection
        self.act = act
        self.at = at
        self.changes: list[tuple[str, str, int, dict[str, Any] | None]] = []
        self._tally = Tally()
        self._columns: dict[str, str] = {}

    def all(self, sql: str, values: Sequence[Any] = ()) -> list[Row]:
        """Read rows as they stand inside the transaction."""
        return self.connection.execute(sql, values).fetchall()

    def one(self, sql: str, values: Sequence[Any] = ()) -> Row | None:
        """Read the first row, or None."""
        row: Row | None = self.connection.execute(sql, values).fetchone()
        return row

    def insert(self, table: str, **columns: Any) -> int:
        """Add a row and return its id."""
        names, marks = ", ".join(columns), ", ".join("?" * len(columns))
        cursor = self.connection.execute(
            f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(columns.values())
        )
        key = int(columns["id"] if "id" in columns else cursor.lastrowid or 0)
        self._tally.add(table, self._seal(table, key))
        self.changes.append(("insert", table, key, None))
        return key

    def update(self, table: str, key: int, **columns: Any) -> bool:
        """Change columns of a row; True when anything was different before."""
        before, kept = self._row(table, key)
        old = {name: before[name] for name, value in columns.items() if before[name] != value}
        if not old:
            return False
        pairs = ", ".join(f"{name} = ?" for name in old)
        values = [columns[name] for name in old]
        self.connection.execute(f"UPDATE {table} SET {pairs} WHERE id = ?", [*values, key])
        self._tally.remove(table, kept)
        self._tally.add(table, self._seal(table, key))
        self.changes.append(("update", table, key, old))
        return True

    def delete(self, table: str, key: int) -> None:
        """Remove a row."""
        before, kept = self._row(table, key)
        self.connection.execute(f"DELETE FROM {table} WHERE id = ?", (key,))
        self._tally.remove(table, kept)
        self.changes.append(("delete", table, key, before))

    def keep(self, sha256: str, content: bytes) -> None:
        """Put a raw file into the archive; the same bytes are kept once."""
        self.connection.execute(
            "INSERT INTO files (sha256, content) VALUES (?, ?) ON CONFLICT DO NOTHING",
            (sha256, content),
        )

    def revert(self, changes: Sequence[Sequence[Any]]) -> None:
        """Take the changes of an earlier act back, last one first."""
        for operation, table, key, before in reversed(changes):
            if operation == "insert":
                self.delete(table, key)
            elif operation == "update":
                self.update(table, key, **before)
            else:
                self.insert(table, **before)

    def keep_plan(self, digest: str, text: str) -> None:
        """Put a plan's text into the archive, once for each content."""
        row = (digest, text, self.at)
        done = self.connection.execute(
            """INSERT INTO plans (digest, text, first_seen, seal) VALUES (?, ?, ?, ?)
            ON CONFLICT DO NOTHING""",
            (*row, seal("plans", row)),
        )
        if done.rowcount:
            self._tally.add("plans", seal("plans", row))

    def record(self, **columns: Any) -> None:
        """Add the act's row to the history, with the way back; the end of every act."""
        row: Mapping[str, Any] = {
            "id": self.act,
            "at": self.at,
            "changes": json.dumps(self.changes, ensure_ascii=False),
            **columns,
        }
        names = columns_of(self.connection, "history")
        values = [row.get(name) for name in names]
        value, marks = seal("history", values), ", ".join("?" * (len(names) + 1))
        self.connection.execute(
            f"INSERT INTO history ({', '.join(names)}, seal) VALUES ({marks})", (*values, value)
        )
        self._tally.add("history", value)

    def finish(self) -> None:
        """Bring the totals of the seals up."""
        self._tally.write(self.connection)

    def _seal(self, table: str, key: int) -> int:
        """Seal a row as SQLite gives it back; returns the seal."""
        if table not in self._columns:
            self._columns[table] = ", ".join(columns_of(self.connection, table))
        row = self.one(f"SELECT {self._columns[table]} FROM {table} WHERE id = ?", (key,))
        assert row is not None
        value = seal(table, row)
        self.connection.execute(f"UPDATE {table} SET seal = ? WHERE id = ?", (value, key))
        return value

    def _row(self, table: str, key: int) -> tuple[dict[str, Any], int]:
        """Read a row as it stands, and its seal."""
        cursor = self.connection.execute(f"SELECT * FROM {table} WHERE id = ?", (key,))
        row = cursor.fetchone()
        if row is None:
            raise LedgerError(
                Problem(
                    f"store, table {table}",
                    f"no row {key}",
                    "the row that an act left there",
                    "Another program changed the store; put a backup back.",
                )
            )
        columns = dict(zip((item[0] for item in cursor.description), row, strict=True))
        return columns, columns.pop("seal")
