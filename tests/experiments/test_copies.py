"""Copies: read back when written, bounded in number, and never over somebody else's file."""

from __future__ import annotations

import os
import sqlite3
import time
from contextlib import closing
from datetime import UTC, datetime

import pytest

from experiments import copies
from experiments.copies import KEPT, read_copy
from experiments.errors import LedgerError, OutputError
from experiments.ledger import Ledger
from experiments.records import StoredCurve
from tests.stores import change_files


@pytest.fixture
def measured(ledger, resin):
    ledger.add(resin)
    ledger.measure(1, session="a", curves=[StoredCurve("r.txt", "response", b"1")], values={})
    return ledger


def test_a_backup_holds_everything_the_plan_too(measured, plan_text, tmp_path, clock):
    copy = measured.backup(tmp_path / "b.db")
    assert (copy.cones, copy.measurements, copy.files, copy.acts) == (1, 1, 1, 3)
    assert copy == read_copy(tmp_path / "b.db")
    assert copy.plan == plan_text
    assert sorted(path.name for path in tmp_path.iterdir()) == ["b.db", "radio"]
    with (
        closing(sqlite3.connect(tmp_path / "b.db")) as theirs,
        closing(sqlite3.connect(measured.folder / "experiment.db")) as ours,
    ):
        assert theirs.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        theirs.execute("DROP TABLE backup")
        assert list(theirs.iterdump()) == list(ours.iterdump())


def test_a_backup_is_replaced_only_as_it_was_written(measured, tmp_path):
    path = tmp_path / "b.db"
    measured.backup(path)
    measured.note("more")
    assert measured.backup(path).acts == 4
    change_files(path, b"2")
    for place in (path, measured.folder / "experiment.db"):
        content = place.read_bytes()
        with pytest.raises(OutputError, match="not a backup of coneloop's making"):
            measured.backup(place)
        assert place.read_bytes() == content
    measured.backup(path, force=True)
    assert read_copy(path).acts == 4


def plan_changed(path):
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("UPDATE backup SET plan = replace(plan, '0.2', '0.3')")
        connection.commit()


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda path: change_files(path, b"2"), "raw file whose bytes changed"),
        (plan_changed, "a plan whose text changed"),
        (lambda path: path.write_bytes(path.read_bytes()[:-4096]), "damage.*Use another backup"),
        (lambda path: path.write_bytes(b"no"), "a file that is no backup"),
        (lambda path: path.unlink(), "no such file"),
    ],
)
def test_a_copy_that_is_not_whole_is_told(measured, tmp_path, spoil, words):
    path = tmp_path / "b.db"
    measured.backup(path)
    spoil(path)
    with pytest.raises(LedgerError, match=words):
        read_copy(path)


def test_a_store_is_no_backup(measured):
    measured.close()
    with pytest.raises(LedgerError, match="not a backup"):
        read_copy(measured.folder / "experiment.db")


def test_what_does_not_read_back_is_no_copy(measured, tmp_path, monkeypatch):
    monkeypatch.setattr(
        copies, "read_copy", lambda path: (_ for _ in ()).throw(copies._unlike(path, "rot"))
    )
    with pytest.raises(LedgerError, match="rot"):
        measured.backup(tmp_path / "b.db")
    assert [path.name for path in tmp_path.iterdir()] == ["radio"]


def test_automatic_copies_are_bounded_and_the_newest_stay(measured):
    for number in range(KEPT + 2):
        measured.note(f"note {number}")
        measured.keep_copy("import")
    measured.keep_copy("restore")
    acts = [read_copy(path).acts for path in (measured.folder / "backups").glob("*_import*.db")]
    assert sorted(acts) == [6, 7, 8]
    assert len(list((measured.folder / "backups").glob("*_restore*.db"))) == 1


def test_copies_of_one_second_have_names_of_their_own(tmp_path, plan_text, resin, monkeypatch):
    then = datetime(2031, 3, 5, 9, 0, tzinfo=UTC)
    with Ledger.create(tmp_path / "radio", plan_text, now=lambda: then) as ledger:
        for _ in range(KEPT + 2):
            ledger.add(resin)
            newest = ledger.keep_copy("import")
        kept = [read_copy(path) for path in (ledger.folder / "backups").iterdir()]
    assert sorted(copy.cones for copy in kept) == [3, 4, 5]
    assert read_copy(newest).cones == 5


def test_a_read_only_disk_is_enough_to_read_a_copy(measured, tmp_path):
    measured.backup(tmp_path / "b.db")
    before = sorted(tmp_path.iterdir())
    read_copy(tmp_path / "b.db")
    assert sorted(tmp_path.iterdir()) == before  # no log beside it


def test_what_a_killed_process_left_unfinished_goes_after_a_day(measured):
    measured.keep_copy("import")
    place = measured.folder / "backups"
    for name, age in (("old", 90_000), ("new", 10)):
        part = place / f".{name}.db.77.part"
        part.write_bytes(b"half")
        os.utime(part, (time.time() - age,) * 2)
    measured.keep_copy("import")
    assert [path.name for path in place.glob(".*")] == [".new.db.77.part"]
