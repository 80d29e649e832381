"""The layout of ``experiment.db``: tables, version, and the steps from older versions.

Two sorts of table:

- *state*: what is so now. Changed only by acts, each in one transaction, each undoable.
- *archive*: history, plan texts and raw files. Only ever added to; triggers refuse the rest.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from experiments.errors import LedgerError, Problem
from experiments.seals import reseal

__all__ = [
    "APPLICATION_ID",
    "MIGRATIONS",
    "STATE_TABLES",
    "check_identity",
    "migrate",
]

APPLICATION_ID = 0x434F4E45  # "CONE"; tells our files from other SQLite files

STATE_TABLES = (
    "proposals",
    "cones",
    "settings",
    "sessions",
    "measurements",
    "readings",
    "curves",
    "notes",
)

# A migration is a list of single statements: executescript() would commit behind our back.
_FIRST = (
    """CREATE TABLE plans (
        digest TEXT PRIMARY KEY, text TEXT NOT NULL, first_seen TEXT NOT NULL) WITHOUT ROWID""",
    """CREATE TABLE history (
        id INTEGER PRIMARY KEY, at TEXT NOT NULL, who TEXT NOT NULL, act TEXT NOT NULL,
        summary TEXT NOT NULL, arguments TEXT NOT NULL, changes TEXT NOT NULL,
        undoes INTEGER UNIQUE REFERENCES history (id),
        plan TEXT REFERENCES plans (digest))""",
    """CREATE TABLE files (
        sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64), content BLOB NOT NULL)""",
    """CREATE TABLE proposals (
        id INTEGER PRIMARY KEY, at TEXT NOT NULL, seed INTEGER, plan TEXT NOT NULL,
        details TEXT NOT NULL)""",
    """CREATE TABLE cones (
        id INTEGER PRIMARY KEY CHECK (id > 0),
        status TEXT NOT NULL
            CHECK (status IN ('planned', 'printed', 'measured', 'failed', 'set aside')),
        plate INTEGER CHECK (plate > 0),
        origin TEXT NOT NULL CHECK (origin IN ('proposed', 'added', 'imported')),
        proposal INTEGER REFERENCES proposals (id),
        reason TEXT NOT NULL DEFAULT '',
        mass_g REAL, minutes REAL,
        failure TEXT NOT NULL DEFAULT '', aside TEXT NOT NULL DEFAULT '',
        note TEXT NOT NULL DEFAULT '',
        planned_at TEXT, printed_at TEXT,
        version INTEGER NOT NULL)""",
    """CREATE TABLE settings (
        id INTEGER PRIMARY KEY, cone INTEGER NOT NULL REFERENCES cones (id),
        variable TEXT NOT NULL,
        value NOT NULL CHECK (typeof(value) IN ('integer', 'real', 'text')),
        UNIQUE (cone, variable))""",
    "CREATE INDEX settings_by_variable ON settings (variable)",
    """CREATE TABLE sessions (
        id INTEGER PRIMARY KEY, name TEXT NOT NULL UNIQUE CHECK (name <> ''), at TEXT NOT NULL)""",
    """CREATE TABLE measurements (
        id INTEGER PRIMARY KEY, cone INTEGER NOT NULL REFERENCES cones (id),
        session INTEGER NOT NULL REFERENCES sessions (id),
        at TEXT NOT NULL, age_days REAL, light_hours REAL,
        note TEXT NOT NULL DEFAULT '', warnings TEXT NOT NULL DEFAULT '[]')""",
    "CREATE INDEX measurements_by_cone ON measurements (cone)",
    """CREATE TABLE readings (
        id INTEGER PRIMARY KEY, measurement INTEGER NOT NULL REFERENCES measurements (id),
        metric TEXT NOT NULL, value REAL, by_hand INTEGER NOT NULL CHECK (by_hand IN (0, 1)),
        UNIQUE (measurement, metric))""",
    "CREATE INDEX readings_by_metric ON readings (metric)",
    """CREATE TABLE curves (
        id INTEGER PRIMARY KEY, measurement INTEGER NOT NULL REFERENCES measurements (id),
        name TEXT NOT NULL, kind TEXT NOT NULL,
        sha256 TEXT NOT NULL REFERENCES files (sha256), options TEXT NOT NULL DEFAULT '{}')""",
    "CREATE INDEX curves_by_measurement ON curves (measurement)",
    "CREATE INDEX curves_by_file ON curves (sha256)",
    """CREATE TABLE notes (
        id INTEGER PRIMARY KEY, at TEXT NOT NULL, cone INTEGER REFERENCES cones (id),
        text TEXT NOT NULL)""",
    *(
        f"""CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table}
        BEGIN SELECT RAISE(ABORT, 'the table {table} is only ever added to'); END"""
        for table in ("history", "plans", "files")
        for verb in ("UPDATE", "DELETE")
    ),
)

# Under which definition of its metric a value was computed; NULL where that was not kept.
_SECOND = ("ALTER TABLE readings ADD COLUMN definition TEXT",)

# The climate of the room at a measurement; NULL where nobody said.
_THIRD = (
    "ALTER TABLE measurements ADD COLUMN temperature_c REAL",
    "ALTER TABLE measurements ADD COLUMN humidity_percent REAL",
)

# By which a changed byte is noticed: see `experiments.seals`. `migrate` fills both. Raw files
# need none.
_FOURTH = (
    "CREATE TABLE totals (name TEXT PRIMARY KEY, rows INTEGER, sum INTEGER) WITHOUT ROWID",
    *(
        f"ALTER TABLE {table} ADD COLUMN seal INTEGER"
        for table in (
            *("proposals", "cones", "settings", "sessions", "measurements", "readings"),
            *("curves", "notes", "history", "plans"),
        )
    ),
)

MIGRATIONS: tuple[tuple[str, ...], ...] = (_FIRST, _SECOND, _THIRD, _FOURTH)
"""Statements that lead from version n to n + 1, in order; published ones are never edited."""


def check_identity(connection: sqlite3.Connection, path: Path) -> int:
    """Make sure that the file is an experiment of a version that we understand.

    Parameters
    ----------
    connection : sqlite3.Connection
        An open connection.
    path : Path
        The file, named in the error.

    Returns
    -------
    int
        Its schema version.

    Raises
    ------
    LedgerError
        For a foreign database, or one written by a later release.
    """
    identity = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if identity != APPLICATION_ID or version < 1:
        raise LedgerError(
            Problem(
                str(path),
                "a database that coneloop did not make",
                "the store of an experiment",
                "Put the right file back from a backup, or choose another folder.",
            )
        )
    if version > len(MIGRATIONS):
        raise LedgerError(
            Problem(
                str(path),
                f"store version {version}, written by a later release",
                f"version {len(MIGRATIONS)} or older",
                "Update coneloop; nothing was changed.",
            )
        )
    return version


def migrate(connection: sqlite3.Connection, version: int) -> None:
    """Bring a store to the present version. Call it inside a transaction.

    Parameters
    ----------
    connection : sqlite3.Connection
        A connection inside an exclusive or immediate transaction.
    version : int
        The version that the store has; 0 for an empty file.
    """
    for statements in MIGRATIONS[version:]:
        for statement in statements:
            connection.execute(statement)
    connection.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
    reseal(connection)
