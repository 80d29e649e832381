"""Whether a store is as coneloop wrote it: what SQLite sees, the seals, the write-ahead log."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

from experiments.errors import LedgerError, Problem
from experiments.places import STORE_FILE, newest_copy
from experiments.seals import SEALED_SINCE, broken_seals
from experiments.write_ahead import lost_commits

__all__ = ["damaged", "find_damage", "has_seals", "is_damage", "refuse_damage", "refuse_lost_log"]

_LOOKS = 5
_TOLD = 3
"""Findings that one message tells; the rest is counted."""

_CIRCUMSTANCES = {
    sqlite3.SQLITE_PERM,
    sqlite3.SQLITE_BUSY,
    sqlite3.SQLITE_LOCKED,
    sqlite3.SQLITE_NOMEM,
    sqlite3.SQLITE_READONLY,
    sqlite3.SQLITE_INTERRUPT,
    sqlite3.SQLITE_IOERR,
    sqlite3.SQLITE_FULL,
    sqlite3.SQLITE_CANTOPEN,
    sqlite3.SQLITE_PROTOCOL,
}
"""Results that tell of the disk or of other processes, not of the file."""


def is_damage(error: sqlite3.Error) -> bool:
    """Whether an error while a store is looked through speaks of the file itself."""
    # Extended result codes keep the primary one in the low byte; a text that is no UTF-8 has none.
    return (getattr(error, "sqlite_errorcode", 0) or 0) & 0xFF not in _CIRCUMSTANCES


def damaged(path: Path, found: str) -> LedgerError:
    """Make the error for a store, or a backup, that must not be used, with the ways out."""
    if path.name != STORE_FILE:
        remedy = (
            "Use another backup. What is still certain in this one comes out with `coneloop "
            f"rescue FOLDER` once it lies alone in a new folder, called {STORE_FILE}."
        )
        return LedgerError(Problem(str(path), found, "a backup as coneloop wrote it", remedy))
    copy = newest_copy(path.parent)
    known = f" (the newest copy is {copy})" if copy else ""
    remedy = (
        f"Put a backup back with `coneloop restore FILE`{known}, or save what can still be read "
        f"into a new folder with `coneloop rescue {path.parent}`."
    )
    return LedgerError(Problem(str(path), found, "a store as coneloop wrote it", remedy))


def has_seals(connection: sqlite3.Connection) -> bool:
    """Whether a store bears seals; those of the first releases do not."""
    (version,) = connection.execute("PRAGMA user_version").fetchone()
    sql = "SELECT 1 FROM sqlite_schema WHERE name = 'totals'"
    return version >= SEALED_SINCE or connection.execute(sql).fetchone() is not None


def find_damage(connection: sqlite3.Connection) -> list[tuple[str, str]]:
    """Look the whole store through: its structure, its indexes, the seal of every row.

    Raw files are not hashed here; whoever reads one does.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection with a consistent view.

    Returns
    -------
    list of (str, str)
        Place and finding; empty when all is well.
    """
    try:
        rows = connection.execute("PRAGMA integrity_check(20)").fetchall()
        lines = [line for row in rows for line in str(row[0]).splitlines()]
        found = [("database", one) for one in lines if one != "ok" and not one.startswith("*")]
        if not found and has_seals(connection):
            found = broken_seals(connection)
    except sqlite3.Error as error:
        if not is_damage(error):
            raise
        return [("database", str(error))]
    return found


def refuse_damage(connection: sqlite3.Connection, path: Path) -> None:
    """Raise a LedgerError if a store is damaged; inside a transaction."""
    found = find_damage(connection)
    if found:
        told = [f"{what} ({where})" for where, what in found[:_TOLD]]
        more = [f"{len(found) - _TOLD} more"] if len(found) > _TOLD else []
        raise damaged(path, f"damage: {'; '.join(told + more)}")


def refuse_lost_log(path: Path) -> None:
    """Raise a LedgerError if the write-ahead log holds changes that SQLite would drop.

    Call it before SQLite opens the file: it takes a damaged log for one that ends there.
    """
    for _ in range(_LOOKS):
        lost = lost_commits(Path(f"{path}-wal"))
        if not lost:
            return
        time.sleep(0.05)  # another process may have begun the log anew while we read it
    raise damaged(path, f"a damaged write-ahead log that holds the last changes, {lost} or more")
