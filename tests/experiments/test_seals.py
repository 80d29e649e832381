"""Seals: no row changes, goes or doubles unseen."""

from __future__ import annotations

import hashlib
import sqlite3
from contextlib import closing

import pytest

from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.records import StoredCurve
from experiments.seals import seal, sealed_tables


def test_a_seal_tells_values_types_and_tables_apart():
    rows = [(1,), (1.0,), ("1",), (None,), ("None",), (1, None), (-0.0,), (0.0,), ("é",), ("e",)]
    seals = {seal(table, row) for table in ("cones", "notes") for row in rows}
    assert len(seals) == 2 * len(rows)
    text = rb"notes(1, 0.1, '\xe9', None)"
    assert seal("notes", (1, 0.1, "é", None)) == int(
        hashlib.blake2b(text, digest_size=6).hexdigest(), 16
    )


@pytest.fixture
def full(ledger, resin):
    ledger.plan_cones([resin], reason=["first"], proposal={"seed": 1})
    ledger.printed(1, mass=2.5)
    ledger.measure(
        1, session="a", curves=[StoredCurve("r", "response", b"x")], values={"mass": 2.5}
    )
    ledger.note("quiet day")
    ledger.add(resin)
    ledger.set_aside(2, why="lent")
    ledger.undo()
    ledger.close()
    return ledger.folder


EVERY = (
    *("proposals", "cones", "settings", "sessions", "measurements", "readings"),
    *("curves", "notes", "history", "plans"),
)


def test_every_table_with_values_is_sealed(full):
    with closing(sqlite3.connect(full / "experiment.db")) as connection:
        assert sorted(sealed_tables(connection)) == sorted(EVERY)
        for table in EVERY:
            sql = f"SELECT count(*), count(seal) FROM {table}"
            count, sealed = connection.execute(sql).fetchone()
            assert count == sealed > 0


def spoil(folder, *statements):
    """Write behind coneloop's back, the guards of the archive put back afterwards."""
    with closing(sqlite3.connect(folder / "experiment.db")) as connection:
        guards = connection.execute(
            "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'"
        ).fetchall()
        for name, _ in guards:
            connection.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            connection.execute(statement)
        for _, sql in guards:
            connection.execute(sql)
        connection.commit()


def test_the_store_as_it_was_written_is_opened(full):
    spoil(full)
    Ledger.open(full).close()


@pytest.mark.parametrize("table", EVERY)
def test_a_changed_value_is_noticed(full, table):
    with closing(sqlite3.connect(full / "experiment.db")) as connection:
        names = [row[1] for row in connection.execute(f"PRAGMA table_info({table})")]
    column = {"history": "summary", "plans": "text", "curves": "kind"}.get(table, names[-2])
    if table == "cones":
        column = "mass_g"
    spoil(full, f"UPDATE {table} SET {column} = 7.25")
    with pytest.raises(LedgerError, match=f"changed row .*table {table}"):
        Ledger.open(full)


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM readings",
        "DELETE FROM history WHERE id = 3",
        "UPDATE settings SET value = 0.5, seal = NULL WHERE variable = 'wall'",
        "UPDATE totals SET rows = rows + 1 WHERE name = 'cones'",
        "DELETE FROM totals WHERE name = 'notes'",
        "DELETE FROM totals",
        "INSERT INTO totals VALUES ('bottles', 0, 0)",
        "DROP TABLE totals",
        "ALTER TABLE cones RENAME COLUMN mass_g TO mass_h",
        "DROP INDEX readings_by_metric",
        "PRAGMA user_version = 3",
    ],
)
def test_what_is_missing_or_otherwise_is_noticed(full, statement):
    spoil(full, statement)
    with pytest.raises(LedgerError, match="coneloop rescue"):
        Ledger.open(full)


def test_a_former_row_put_back_is_noticed(full):
    path = full / "experiment.db"
    with closing(sqlite3.connect(path)) as connection:
        old = connection.execute("SELECT mass_g, version, seal FROM cones WHERE id = 2").fetchone()
    with Ledger.open(full) as ledger:
        ledger.set_aside(2, why="lost")
        ledger.put_back(2)
        ledger.failed(2, why="tore")
    _, version, kept = old
    spoil(full, f"UPDATE cones SET status='printed', failure='', version={version}, seal={kept}")
    with pytest.raises(LedgerError, match="coneloop rescue"):
        Ledger.open(full)
