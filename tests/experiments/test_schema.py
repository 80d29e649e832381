"""Versions: newer ones are refused, older ones are brought up in one transaction."""

from __future__ import annotations

import math
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from experiments import schema, store
from experiments.copies import read_copy
from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.records import STATUSES
from experiments.restoring import restore

LATER = (
    "ALTER TABLE cones ADD COLUMN colour TEXT NOT NULL DEFAULT 'grey'",
    "CREATE TABLE bottles (id INTEGER PRIMARY KEY)",
)


def pragma(folder, name, value=None):
    connection = sqlite3.connect(folder / "experiment.db")
    try:
        if value is not None:
            connection.execute(f"PRAGMA {name} = {value}")
            connection.commit()
        return connection.execute(f"PRAGMA {name}").fetchone()[0]
    finally:
        connection.close()


def test_the_file_carries_its_marks(ledger):
    assert pragma(ledger.folder, "application_id") == schema.APPLICATION_ID
    assert pragma(ledger.folder, "user_version") == len(schema.MIGRATIONS)


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("user_version", len(schema.MIGRATIONS) + 1, "later release"),
        ("application_id", 7, "coneloop did not make"),
        ("user_version", 0, "coneloop did not make"),
    ],
)
def test_a_foreign_or_later_store_is_refused_untouched(ledger, name, value, words):
    ledger.close()
    pragma(ledger.folder, name, value)
    with pytest.raises(LedgerError, match=words) as refusal:
        Ledger.open(ledger.folder)
    assert refusal.value.problems[0].remedy
    assert pragma(ledger.folder, name) == value


@pytest.fixture
def later(monkeypatch):
    longer = (*schema.MIGRATIONS, LATER)
    monkeypatch.setattr(schema, "MIGRATIONS", longer)
    monkeypatch.setattr(store, "MIGRATIONS", longer)
    return longer


def test_an_older_store_is_brought_up_and_keeps_everything(ledger, resin, request):
    ledger.add(resin, note="from the old days")
    ledger.close()
    longer = request.getfixturevalue("later")
    with Ledger.open(ledger.folder) as opened:
        assert opened.cone(1).note == "from the old days"
        with opened.snapshot() as connection:
            assert connection.execute("SELECT colour FROM cones").fetchall() == [("grey",)]
        assert opened.undo() == "undid: cone 1 added as printed"
    assert pragma(ledger.folder, "user_version") == len(longer)


def test_a_migration_that_fails_changes_nothing(ledger, resin, monkeypatch):
    ledger.add(resin)
    ledger.close()
    broken = (*schema.MIGRATIONS, (LATER[0], "CREATE TABLE cones (id)"))
    for module in (schema, store):
        monkeypatch.setattr(module, "MIGRATIONS", broken)
    with pytest.raises(LedgerError, match="already exists"):
        Ledger.open(ledger.folder)
    monkeypatch.undo()
    assert pragma(ledger.folder, "user_version") == len(schema.MIGRATIONS)
    with Ledger.open(ledger.folder) as opened:
        assert len(opened.cones()) == 1


OLD_STORES = Path(__file__).parent / "old_stores"


def lay_out(folder, version, plan_text):
    """Put the store of an older release and a plan into a folder."""
    connection = sqlite3.connect(folder / "experiment.db")
    text = (OLD_STORES / f"version_{version}.sql").read_text(encoding="utf-8")
    connection.executescript(text)
    connection.execute(f"PRAGMA application_id = {0x434F4E45}")
    connection.execute(f"PRAGMA user_version = {version}")
    connection.commit()
    connection.close()
    (folder / "experiment.toml").write_text(plan_text)


def test_a_store_of_version_1_is_still_understood(tmp_path, plan_text):
    lay_out(tmp_path, 1, plan_text)
    with Ledger.open(tmp_path) as ledger:
        (problem,) = ledger.check()
        assert "without a record of how they were computed for cone 1" in problem.found
        table = ledger.table(strict=False)
        assert table["status"].tolist() == ["measured", "failed", "set aside"]
        assert table["cure_time"].tolist()[0] == 12.5
        assert table["upper_limit"].isna().tolist()[0]  # nobody knows how it was computed
        assert table["mass"].tolist()[0] == 2.35
        (one,) = ledger.measurements()
        assert one.values["upper_limit"] == 9.25
        assert (one.session, one.note, one.by_hand) == ("first evening", "warm room", frozenset())
        assert [curve.content for curve in ledger.curves(1)] == [b"20 80\n20000 60\n"]
        assert ledger.cone(1).proposal["versions"] == {"coneloop": "0.1.0"}
        assert ledger.cone(2).why == "came off the bed"
        told = [ledger.undo() for _ in range(7)]
        assert told[0] == "undid: note on cone 1 written"
        assert told[-1] == "undid: cones 1 and 2 planned"
        assert ledger.cones() == []
        # Four numbers were given in that store, one to a cone that was taken back at the time.
        assert ledger.add({"process": "filament", "wall": 0.6, "ribs": 0}) == 5


def test_a_store_of_version_2_is_still_understood(tmp_path, plan_text):
    lay_out(tmp_path, 2, plan_text)
    with Ledger.open(tmp_path) as ledger:
        assert ledger.check() == []
        # The digest that the release of version 2 gave: what was known then is the same data.
        digest = ledger.data_digest()
        assert digest == ("aaa923fcf74411ed5dfb9b51d31f654bbb3c4a0e3986dfbe120a71f5dbe4fa7d")
        table = ledger.table()
        assert table["light_hours"].tolist() == [1.5, 40.0, pytest.approx(math.nan, nan_ok=True)]
        assert table["temperature_c"].isna().all()
        assert table["humidity_percent"].isna().all()
        one, two = ledger.measurements()
        assert (one.temperature_c, two.humidity_percent) == (None, None)
        key = ledger.measure(1, session="warm", values={"mass": 2.3}, temperature_c=28.0)
        assert ledger.measurements()[-1].temperature_c == 28.0
        assert ledger.data_digest() != digest
        told = [ledger.undo() for _ in range(6)]
        assert told[:2] == [
            "undid: cone 1 measured in session warm",
            "undid: import of t.csv: 1 changed cell",
        ]
        assert ledger.cones() == []
        # The walk back through a measurement that was taken back under the old version holds.
        assert key == 3
        assert ledger.wide_table_at(6)["light_hours"].tolist()[:2] == [1.5, 40.0]
        assert ledger.wide_table_at(7)["upper_limit"].tolist()[:3] == [9.25, 9.0, 8.0]


def test_a_store_of_version_3_is_still_understood(tmp_path, plan_text):
    lay_out(tmp_path, 3, plan_text)
    with Ledger.open(tmp_path) as ledger:
        assert ledger.check() == []
        # The digest that the release of version 3 gave.
        digest = ledger.data_digest()
        assert digest == "66a45097ad47a9dde234b4b61262a2392df552d0aa79bccf51bebc9c1f76ed23"
        (one,) = ledger.measurements()
        assert (one.temperature_c, one.humidity_percent, one.note) == (21.5, 48.0, "warm room")
        assert ledger.table()["upper_limit"].tolist()[0] == 9.25
        assert [curve.content for curve in ledger.curves(1)] == [b"20 80\n20000 60\n"]
        told = [ledger.undo() for _ in range(5)]
        assert told[0] == "undid: note on cone 1 written"
        assert told[-1] == "undid: cones 1 and 2 planned"
        assert ledger.add({"process": "filament", "wall": 0.6, "ribs": 0}) == 4


@pytest.mark.parametrize("version", range(1, len(schema.MIGRATIONS)))
def test_a_copy_of_an_older_store_is_kept_before_it_is_brought_up(tmp_path, plan_text, version):
    lay_out(tmp_path, version, plan_text)
    Ledger.open(tmp_path).close()
    Ledger.open(tmp_path).close()  # nothing is left to do
    (kept,) = (tmp_path / "backups").glob("*_before_migration.db")
    with closing(sqlite3.connect(kept)) as copy:
        assert copy.execute("PRAGMA user_version").fetchone() == (version,)
        before = copy.execute("SELECT id, status, version FROM cones").fetchall()
    with closing(sqlite3.connect(tmp_path / "experiment.db")) as store:
        assert store.execute("SELECT id, status, version FROM cones").fetchall() == before
        assert store.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert read_copy(kept).plan == plan_text
    restore(tmp_path, kept, who="maker")
    with Ledger.open(tmp_path) as ledger:
        assert len(ledger.cones()) == len(before)


def test_a_damaged_store_of_an_older_release_is_not_brought_up(tmp_path, plan_text):
    lay_out(tmp_path, 2, plan_text)
    path = tmp_path / "experiment.db"
    content = bytearray(path.read_bytes())
    content[4096 * 2 : 4096 * 8] = b"\xff" * 4096 * 6
    path.write_bytes(content)
    with pytest.raises(LedgerError, match="coneloop rescue"):
        Ledger.open(tmp_path)
    assert path.read_bytes() == content
    assert not (tmp_path / "backups").exists()


def test_the_store_itself_refuses_what_makes_no_sense(ledger, resin):
    ledger.add(resin)
    with ledger.snapshot() as connection, pytest.raises(sqlite3.IntegrityError):
        connection.execute("UPDATE cones SET status = 'lost'")
    connection = sqlite3.connect(ledger.folder / "experiment.db")
    connection.execute("PRAGMA foreign_keys = ON")
    try:
        for status in STATUSES:
            connection.execute("UPDATE cones SET status = ?", (status,))
        connection.rollback()
        for sql in (
            "INSERT INTO settings (cone, variable, value) VALUES (99, 'wall', 0.4)",
            "INSERT INTO settings (cone, variable, value) VALUES (1, 'wall', 0.4)",
            "INSERT INTO settings (cone, variable, value) VALUES (1, 'hue', NULL)",
            "DELETE FROM cones",
        ):
            with pytest.raises(sqlite3.IntegrityError):
                connection.execute(sql)
    finally:
        connection.close()
