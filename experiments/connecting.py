"""Connections to a SQLite file: durable, patient with other processes, plain in their errors."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TypeVar

from experiments.damage import damaged
from experiments.errors import LedgerError, Problem

__all__ = ["PATIENCE", "connect", "patiently", "plain"]

PATIENCE = 30.0  # seconds that a process waits while another one writes

T = TypeVar("T")


def connect(path: Path) -> sqlite3.Connection:
    """Open a store for reading and writing; it must exist."""
    # mode=rw: never make an empty file by mistake. Foreign keys are off by default in SQLite.
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=rw",
        uri=True,
        timeout=PATIENCE,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("PRAGMA synchronous = FULL")
        # A page that is freed keeps no former row, which a rescue might take for a present one.
        connection.execute("PRAGMA secure_delete = ON")
    except BaseException:  # such as a file that is no database
        connection.close()
        raise
    return connection


def patiently(step: Callable[[], T]) -> T:
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


_DAMAGE = {
    sqlite3.SQLITE_NOTADB: "a file that is no SQLite database",
    sqlite3.SQLITE_CORRUPT: "a damaged database",
}

_TROUBLE = {
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
    sqlite3.SQLITE_IOERR: (
        "a disk that gives an error",
        "See that it is there and has room, and try again; nothing was changed.",
    ),
    sqlite3.SQLITE_TOOBIG: ("a file that is too large to store", "Store a shorter recording."),
}


@contextmanager
def plain(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into one clear sentence."""
    try:
        yield
    except sqlite3.Error as error:
        if _primary(error) in _DAMAGE:
            raise damaged(path, _DAMAGE[_primary(error)]) from error
        found, remedy = _TROUBLE.get(_primary(error), (f"trouble: {error}", ""))
        raise LedgerError(
            Problem(str(path), found, "a store that can be read and written", remedy)
        ) from error
    except OSError as error:
        raise LedgerError(
            Problem(str(path), f"trouble: {error.strerror or error}", "a place to write to")
        ) from error
