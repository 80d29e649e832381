"""The SQLite file behind a ledger: opening, transactions, and writing with a way back.

Durability: write-ahead log with ``synchronous=FULL``, so a commit survives a power cut and a
killed process leaves either the whole act or nothing (https://www.sqlite.org/wal.html,
https://www.sqlite.org/pragma.html#pragma_synchronous).
"""

from __future__ import annotations

import json
import os
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

from experiments.errors import LedgerError, Problem
from experiments.schema import APPLICATION_ID, MIGRATIONS, check_identity, migrate

__all__ = ["Store", "Writer"]

PATIENCE = 30.0  # seconds that a process waits while another one writes

Row = tuple[Any, ...]
T = TypeVar("T")


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
        insert, the overwritten columns for an update, the whole row for a delete.
    """

    def __init__(self, connection: sqlite3.Connection, act: int, at: str) -> None:
        self.connection = connection
        self.act = act
        self.at = at
        self.changes: list[tuple[str, str, int, dict[str, Any] | None]] = []

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
        self.changes.append(("insert", table, key, None))
        return key

    def update(self, table: str, key: int, **columns: Any) -> bool:
        """Change columns of a row; True when anything was different before."""
        before = self._row(table, key)
        old = {name: before[name] for name, value in columns.items() if before[name] != value}
        if not old:
            return False
        pairs = ", ".join(f"{name} = ?" for name in old)
        values = [columns[name] for name in old]
        self.connection.execute(f"UPDATE {table} SET {pairs} WHERE id = ?", [*values, key])
        self.changes.append(("update", table, key, old))
        return True

    def delete(self, table: str, key: int) -> None:
        """Remove a row."""
        before = self._row(table, key)
        self.connection.execute(f"DELETE FROM {table} WHERE id = ?", (key,))
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

    def _row(self, table: str, key: int) -> dict[str, Any]:
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
        return dict(zip((item[0] for item in cursor.description), row, strict=True))


class Store:
    """One open ``experiment.db``. Safe to share between threads of one process.

    Parameters
    ----------
    path : Path
        The file; it must exist.

    Raises
    ------
    LedgerError
        If the file is missing, is no database, is foreign, or is of a later version.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.RLock()
        if not path.is_file():
            raise LedgerError(
                Problem(
                    str(path),
                    "no such file",
                    "the store of the experiment",
                    "Put experiment.db back from a backup. To begin with an empty table instead, "
                    "move experiment.toml away, start again and put your plan in.",
                )
            )
        with _plain(path):
            self._connection = _connect(path)
            try:
                self._prepare()
            except BaseException:
                self._connection.close()
                raise

    @classmethod
    def create(cls, path: Path) -> None:
        """Make an empty store; the file appears complete or not at all.

        Parameters
        ----------
        path : Path
            Where; must not exist.
        """
        part = path.with_name(f"{path.name}.{os.getpid()}.part")
        try:
            with _plain(path):
                connection = sqlite3.connect(part, isolation_level=None)
                try:
                    connection.execute("PRAGMA journal_mode = WAL")
                    connection.execute("BEGIN IMMEDIATE")
                    connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                    migrate(connection, 0)
                    connection.execute("COMMIT")
                finally:
                    connection.close()
                os.replace(part, path)
        finally:
            for leftover in (part, Path(f"{part}-wal"), Path(f"{part}-shm")):
                leftover.unlink(missing_ok=True)

    def _prepare(self) -> None:
        version = _patiently(lambda: check_identity(self._connection, self.path))
        mode = _patiently(lambda: self._connection.execute("PRAGMA journal_mode = WAL").fetchone())
        if mode[0] != "wal":
            raise LedgerError(
                Problem(
                    str(self.path),
                    "a disk that does not allow a write-ahead log",
                    "a local disk",
                    "Copy the folder to a local disk; network shares cannot keep it safe.",
                )
            )
        if version < len(MIGRATIONS):
            self._upgrade()

    def _upgrade(self) -> None:
        _patiently(lambda: self._connection.execute("BEGIN EXCLUSIVE"))
        try:
            # Another process may have done it while this one waited.
            migrate(self._connection, check_identity(self._connection, self.path))
            self._connection.execute("COMMIT")
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise

    def close(self) -> None:
        """Close the file; closing twice is harmless."""
        with self._lock:
            self._connection.close()

    @contextmanager
    def reading(self) -> Iterator[sqlite3.Connection]:
        """One consistent view for several reads."""
        with self._lock, _plain(self.path):
            if self._connection.in_transaction:
                yield self._connection
                return
            _patiently(self._begin_reading)
            try:
                yield self._connection
            finally:
                self._connection.execute("COMMIT")

    def _begin_reading(self) -> None:
        self._connection.execute("BEGIN")
        try:
            # The snapshot is taken by the first read, so that one has to be patient too.
            self._connection.execute("SELECT 1 FROM sqlite_schema LIMIT 1").fetchone()
        except BaseException:
            self._connection.execute("ROLLBACK")
            raise

    @contextmanager
    def writing(self, at: str) -> Iterator[Writer]:
        """One act: all of it is stored at the end of the block, or nothing."""
        with self._lock, _plain(self.path):
            _patiently(lambda: self._connection.execute("BEGIN IMMEDIATE"))
            try:
                last = self._connection.execute("SELECT max(id) FROM history").fetchone()[0]
                yield Writer(self._connection, (last or 0) + 1, at)
                _patiently(lambda: self._connection.execute("COMMIT"))
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextmanager
    def trying(self) -> Iterator[Writer]:
        """Write into a transaction that is thrown away at the end of the block."""
        with self._lock, _plain(self.path):
            _patiently(lambda: self._connection.execute("BEGIN IMMEDIATE"))
            try:
                yield Writer(self._connection, 0, "")
            finally:
                self._connection.execute("ROLLBACK")

    def record(self, writer: Writer, **columns: Any) -> None:
        """Add the act's row to the history, with the way back."""
        row: Mapping[str, Any] = {
            "id": writer.act,
            "at": writer.at,
            "changes": json.dumps(writer.changes, ensure_ascii=False),
            **columns,
        }
        names, marks = ", ".join(row), ", ".join("?" * len(row))
        self._connection.execute(
            f"INSERT INTO history ({names}) VALUES ({marks})", tuple(row.values())
        )

    def keep_plan(self, digest: str, text: str, at: str) -> None:
        """Put a plan's text into the archive, once for each content."""
        self._connection.execute(
            "INSERT INTO plans (digest, text, first_seen) VALUES (?, ?, ?) ON CONFLICT DO NOTHING",
            (digest, text, at),
        )

    def backup(self, path: Path) -> None:
        """Copy the store while others may be writing (SQLite's online backup).

        Parameters
        ----------
        path : Path
            The new file; must not exist.

        Raises
        ------
        LedgerError
            If the file exists or cannot be written.
        """
        if path.exists():
            raise LedgerError(
                Problem(str(path), "an existing file", "a new file", "Choose another name.")
            )
        part = path.with_name(f"{path.name}.{os.getpid()}.part")
        try:
            with self._lock, _plain(path):
                target = sqlite3.connect(part)
                try:
                    self._connection.backup(target)
                finally:
                    target.close()
                os.replace(part, path)
        finally:
            part.unlink(missing_ok=True)


def _connect(path: Path) -> sqlite3.Connection:
    # mode=rw: never make an empty file by mistake. Foreign keys are off by default in SQLite.
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=rw",
        uri=True,
        timeout=PATIENCE,
        isolation_level=None,
        check_same_thread=False,
    )
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA synchronous = FULL")
    return connection


def _patiently(step: Callable[[], T]) -> T:
    """Try again while the file is locked.

    SQLite waits by itself in most cases; while a last connection closes or a crash is being
    recovered from, it may answer 'locked' at once (https://www.sqlite.org/wal.html, section 8).
    """
    deadline = time.monotonic() + PATIENCE
    while True:
        try:
            return step()
        except sqlite3.OperationalError as error:
            if _primary(error) not in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
                raise
            if time.monotonic() > deadline:
                raise
            time.sleep(0.02)


def _primary(error: sqlite3.Error) -> int:
    # Extended result codes keep the primary one in the low byte.
    return (getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF


_TROUBLE = {
    sqlite3.SQLITE_NOTADB: (
        "a file that is no SQLite database",
        "Put experiment.db back from a backup.",
    ),
    sqlite3.SQLITE_CORRUPT: (
        "a damaged database",
        "Put experiment.db back from a backup.",
    ),
    sqlite3.SQLITE_BUSY: (
        f"another process that has been writing for {PATIENCE:.0f} s",
        "Close it and try again; nothing was changed.",
    ),
    sqlite3.SQLITE_FULL: ("a full disk", "Make room and try again; nothing was changed."),
    sqlite3.SQLITE_READONLY: (
        "a file that must not be written",
        "Give yourself the right to write to it and to its folder.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "a file that cannot be opened",
        "Give yourself the right to write to it and to its folder.",
    ),
    sqlite3.SQLITE_TOOBIG: ("a file that is too large to store", "Store a shorter recording."),
}


@contextmanager
def _plain(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into one clear sentence."""
    try:
        yield
    except sqlite3.Error as error:
        found, remedy = _TROUBLE.get(_primary(error), (f"trouble: {error}", ""))
        raise LedgerError(
            Problem(str(path), found, "a store that can be read and written", remedy)
        ) from error
    except OSError as error:
        raise LedgerError(
            Problem(str(path), f"trouble: {error.strerror or error}", "a place to write to")
        ) from error
