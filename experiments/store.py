"""The SQLite file behind a ledger: opening, transactions, and writing with a way back.

Durability: write-ahead log with ``synchronous=FULL``, so a commit survives a power cut and a
killed process leaves either the whole act or nothing (https://www.sqlite.org/wal.html,
https://www.sqlite.org/pragma.html#pragma_synchronous).
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from experiments.connecting import connect, patiently, plain
from experiments.copies import Copy, keep_copy, write_copy
from experiments.damage import refuse_damage, refuse_lost_log
from experiments.errors import LedgerError, Problem
from experiments.schema import APPLICATION_ID, MIGRATIONS, check_identity, migrate
from experiments.seals import columns_of, reseal, sealed_tables, unguarded
from experiments.writer import Writer

__all__ = ["Store", "Writer"]


class Store:
    """One open ``experiment.db``. Safe to share between threads of one process.

    Parameters
    ----------
    path : Path
        The file; it must exist.

    Raises
    ------
    LedgerError
        If the file is missing, is no database, is foreign, damaged, or of a later version.
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
        refuse_lost_log(path)
        with plain(path):
            self._connection = connect(path)
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
            with plain(path):
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
        version = patiently(lambda: check_identity(self._connection, self.path))
        with self.reading() as connection:
            refuse_damage(connection, self.path)
        mode = patiently(lambda: self._connection.execute("PRAGMA journal_mode = WAL").fetchone())
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
            self.keep_copy("migration", datetime.now(UTC).isoformat(timespec="seconds"))
            self._upgrade()

    def _upgrade(self) -> None:
        patiently(lambda: self._connection.execute("BEGIN EXCLUSIVE"))
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
        with self._lock, plain(self.path):
            if self._connection.in_transaction:
                yield self._connection
                return
            patiently(self._begin_reading)
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
        with self._lock, plain(self.path):
            patiently(lambda: self._connection.execute("BEGIN IMMEDIATE"))
            try:
                last = self._connection.execute("SELECT max(id) FROM history").fetchone()[0]
                writer = Writer(self._connection, (last or 0) + 1, at)
                yield writer
                writer.finish()
                patiently(lambda: self._connection.execute("COMMIT"))
            except BaseException:
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    @contextmanager
    def trying(self) -> Iterator[Writer]:
        """Write into a transaction that is thrown away at the end of the block."""
        with self._lock, plain(self.path):
            patiently(lambda: self._connection.execute("BEGIN IMMEDIATE"))
            try:
                yield Writer(self._connection, 0, "")
            finally:
                self._connection.execute("ROLLBACK")

    def backup(self, path: Path, plan: str, at: str) -> Copy:
        """Copy the store while others may be writing; see `experiments.copies.write_copy`."""
        with self._lock:
            return write_copy(self._connection, path, plan, at)

    def keep_copy(self, occasion: str, at: str) -> Path:
        """Copy the store into its folder; see `experiments.copies.keep_copy`."""
        with self._lock:
            return keep_copy(self._connection, self.path.parent, occasion, at)

    def become(self, source: Path, last: int) -> None:
        """Take every row over from another store of this release, in one transaction.

        Raw files that only this store has stay in the archive.

        Parameters
        ----------
        source : Path
            The other store; it must be known to be right.
        last : int
            The last act of this one, as the caller has seen it.

        Raises
        ------
        LedgerError
            If somebody has written since; nothing is changed then.
        """
        with self._lock, plain(self.path):
            connection = self._connection
            connection.execute("ATTACH ? AS source", (str(source),))
            try:
                patiently(lambda: connection.execute("BEGIN IMMEDIATE"))
                try:
                    self._refuse_later(last)
                    _take_over(connection)
                    connection.execute("COMMIT")
                except BaseException:
                    connection.execute("ROLLBACK")
                    raise
            finally:
                connection.execute("DETACH source")

    def _refuse_later(self, last: int) -> None:
        (number,) = self._connection.execute("SELECT max(id) FROM history").fetchone()
        if number != last:
            found, wanted = f"act {number}, written meanwhile", f"act {last} as the last one"
            raise LedgerError(Problem(str(self.path), found, wanted, "Try again."))


def _take_over(connection: sqlite3.Connection) -> None:
    connection.execute("PRAGMA defer_foreign_keys = ON")
    with unguarded(connection):
        for table in sealed_tables(connection):
            names = ", ".join(columns_of(connection, table))
            connection.execute(f"DELETE FROM main.{table}")
            connection.execute(
                f"INSERT INTO main.{table} ({names}) SELECT {names} FROM source.{table}"
            )
        connection.execute("INSERT OR IGNORE INTO main.files SELECT * FROM source.files")
    reseal(connection)
