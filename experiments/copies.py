"""Copies of a store: one file that holds everything, the plan too, and is known to be whole.

A copy is a SQLite database made by the online backup (https://www.sqlite.org/backup.html), so that
others may write meanwhile. A further table, ``backup``, holds the plan as it was. Every copy is
read back before it gets its name.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from experiments.connecting import plain
from experiments.damage import refuse_damage
from experiments.errors import LedgerError, Problem
from experiments.outputs import Kind
from experiments.places import BACKUPS, PLAN_FILE, age_order
from experiments.schema import check_identity

__all__ = [
    "COPY",
    "KEPT",
    "MAGIC",
    "Copy",
    "keep_copy",
    "new_place",
    "open_copy",
    "read_copy",
    "write_copy",
]

KEPT = 3
"""Automatic copies of one occasion that are kept; the oldest go."""

MAGIC = b"SQLite format 3\0"
"""How every SQLite database begins (https://www.sqlite.org/fileformat2.html, section 1.3)."""

_WANTED = "a backup that coneloop wrote"
_STALE = 86400
"""Seconds after which an unfinished copy is one of a process that was killed."""


@dataclass(frozen=True)
class Copy:
    """What a copy holds.

    Parameters
    ----------
    path : Path
        The file.
    at : str
        When it was made, ISO 8601, UTC.
    plan : str
        The text of ``experiment.toml``; empty where there was none.
    cones, measurements, files, acts : int
        How many.
    """

    path: Path
    at: str
    plan: str = field(repr=False)
    cones: int
    measurements: int
    files: int
    acts: int


def write_copy(connection: sqlite3.Connection, path: Path, plan: str, at: str) -> Copy:
    """Copy a store into a new file and read it back; the file appears whole or not at all.

    Parameters
    ----------
    connection : sqlite3.Connection
        The store.
    path : Path
        The file; an older one is replaced.
    plan : str
        The text of the plan.
    at : str
        The time, ISO 8601.

    Returns
    -------
    Copy
        As read back.

    Raises
    ------
    LedgerError
        If it cannot be written, or does not read back as it was written.
    """
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        with plain(path):
            with closing(sqlite3.connect(part, isolation_level=None)) as target:
                # Nobody knows this file yet: it is forced to the disk once, at the end.
                target.execute("PRAGMA synchronous = OFF")
                connection.backup(target)
                # Without a log beside it: one file, which can be read from a disk that is not
                # to be written.
                target.execute("PRAGMA journal_mode = DELETE")
                target.execute("BEGIN IMMEDIATE")
                target.execute("DROP TABLE IF EXISTS backup")
                target.execute("CREATE TABLE backup (at TEXT, plan TEXT, sha256 TEXT)")
                target.execute("INSERT INTO backup VALUES (?, ?, ?)", (at, plan, _digest(plan)))
                target.execute("COMMIT")
            _force(part)
            copy = read_copy(part)
            if (copy.at, copy.plan) != (at, plan):
                raise _unlike(path, "another plan than was written")
            os.replace(part, path)
    finally:
        part.unlink(missing_ok=True)
        Path(f"{part}-journal").unlink(missing_ok=True)
    return Copy(path, *(getattr(copy, name) for name in list(Copy.__dataclass_fields__)[1:]))


def _force(path: Path) -> None:
    """Have the disk write a file (POSIX fsync)."""
    with path.open("rb+") as file:
        os.fsync(file.fileno())


def _digest(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _unlike(path: Path, found: str) -> LedgerError:
    remedy = "Use another copy, and another disk: this one may be failing."
    return LedgerError(Problem(str(path), found, "a whole copy", remedy))


@contextmanager
def open_copy(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a copy for reading only."""
    if not path.is_file():
        raise LedgerError(Problem(str(path), "no such file", _WANTED))
    with plain(path):
        _refuse_other(path)
        uri = f"{path.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(uri, uri=True, isolation_level=None)) as connection:
            connection.execute("BEGIN")
            yield connection


def _refuse_other(path: Path) -> None:
    """Refuse a file that is no database at all, which nothing could be rescued from."""
    with path.open("rb") as file:
        start = file.read(len(MAGIC))
    if start == MAGIC:
        return
    found, remedy = "a file that is no backup", "`coneloop backup FILE` writes one."
    if start[:4] == b"PK\x03\x04":
        found = "an archive"
        remedy = f"Take it out into a new folder with `coneloop unpack {path} FOLDER`."
    raise LedgerError(Problem(str(path), found, _WANTED, remedy))


def read_copy(path: Path) -> Copy:
    """Read a copy and verify all of it, raw files included.

    Raises
    ------
    LedgerError
        If it is none, or not whole.
    """
    with open_copy(path) as connection:
        check_identity(connection, path)
        refuse_damage(connection, path)
        return _described(connection, path)


def _described(connection: sqlite3.Connection, path: Path) -> Copy:
    for digest, content in connection.execute("SELECT sha256, content FROM files"):
        if hashlib.sha256(content).hexdigest() != digest:
            raise _unlike(path, f"a raw file whose bytes changed ({digest[:12]}…)")
    if connection.execute("PRAGMA table_info(backup)").fetchone() is None:
        found = "a store, not a backup of one"
        raise LedgerError(Problem(str(path), found, _WANTED))
    at, plan, sha256 = connection.execute("SELECT at, plan, sha256 FROM backup").fetchone()
    if _digest(plan) != sha256:
        raise _unlike(path, "a plan whose text changed")
    counts = [
        connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
        for table in ("cones", "measurements", "curves", "history")
    ]
    return Copy(path, at, plan, *counts)


def _is_copy(content: bytes) -> bool:
    """Whether bytes are a copy that is as it was written."""
    try:
        with closing(sqlite3.connect(":memory:", isolation_level=None)) as connection:
            connection.deserialize(content)
            check_identity(connection, Path("backup"))
            refuse_damage(connection, Path("backup"))
            return bool(_described(connection, Path("backup")))
    except (sqlite3.Error, LedgerError):
        return False


COPY = Kind("a backup", (".db",), _is_copy)
"""What `experiments.outputs.check_output` takes."""


def new_place(folder: Path, at: str, name: str, suffix: str) -> Path:
    """Name a new file or folder among the backups; it begins with the time."""
    stamp, number = at[:19].replace(":", "").replace("T", "_"), 1
    while True:
        more = "" if number == 1 else f"_{number}"
        path = folder / BACKUPS / f"{stamp}_{name}{more}{suffix}"
        if not path.exists():
            return path
        number += 1


def keep_copy(connection: sqlite3.Connection, folder: Path, occasion: str, at: str) -> Path:
    """Copy the store into the folder's ``backups`` and let the oldest of this occasion go.

    Parameters
    ----------
    connection : sqlite3.Connection
        The store.
    folder : Path
        Where the experiment lives.
    occasion : str
        What is about to happen, in one word.
    at : str
        The time, ISO 8601; the file's name begins with it.

    Returns
    -------
    Path
        The copy.
    """
    place, plan = folder / BACKUPS, folder / PLAN_FILE
    with plain(place):
        place.mkdir(exist_ok=True)
        text = plan.read_text(encoding="utf-8-sig") if plan.is_file() else ""
    path = new_place(folder, at, f"before_{occasion}", ".db")
    write_copy(connection, path, text, at)
    older = sorted(place.glob(f"????-??-??_??????_before_{occasion}*.db"), key=age_order)
    for one in older[:-KEPT]:
        one.unlink(missing_ok=True)
    for one in place.glob(".*.part*"):
        if time.time() - one.stat().st_mtime > _STALE:
            one.unlink(missing_ok=True)
    return path
