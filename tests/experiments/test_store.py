"""Durability: transactions, several processes, a killed process, damage, backup."""

from __future__ import annotations

import multiprocessing
import os
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from experiments import connecting
from experiments import store as store_module
from experiments.errors import LedgerError, OutputError
from experiments.ledger import Ledger
from experiments.records import StoredCurve
from experiments.store import Store
from tests.stores import add_many, change_files

ROOT = Path(__file__).resolve().parents[2]


def integrity(folder: Path) -> str:
    """SQLite's own verdict (https://www.sqlite.org/pragma.html#pragma_integrity_check)."""
    connection = sqlite3.connect(folder / "experiment.db")
    try:
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        return str(connection.execute("PRAGMA integrity_check").fetchone()[0])
    finally:
        connection.close()


def test_settings_of_the_connection(ledger):
    with ledger.snapshot() as connection:
        ask = {
            name: connection.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "foreign_keys", "synchronous", "busy_timeout")
        }
    # synchronous 2 is FULL: https://www.sqlite.org/pragma.html#pragma_synchronous
    assert ask == {
        "journal_mode": "wal",
        "foreign_keys": 1,
        "synchronous": 2,
        "busy_timeout": 30000,
    }


@pytest.mark.parametrize("processes", [2, pytest.param(5, marks=pytest.mark.slow)])
def test_several_processes_write_at_once(ledger, processes):
    # spawn, not fork: pytest's own threads must not be copied.
    context = multiprocessing.get_context("spawn")
    barrier = context.Barrier(processes)
    workers = [
        context.Process(target=add_many, args=(str(ledger.folder), 8, barrier))
        for _ in range(processes)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
        assert worker.exitcode == 0
    assert [cone.number for cone in ledger.cones()] == list(range(1, 8 * processes + 1))
    assert len(ledger.history()) == 8 * processes + 1
    assert integrity(ledger.folder) == "ok"


def test_threads_share_one_ledger(ledger, resin):
    errors = []

    def work():
        try:
            for _ in range(5):
                ledger.add(resin)
                ledger.table()
        except Exception as error:
            errors.append(error)

    threads = [threading.Thread(target=work) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert errors == []
    assert len(ledger.cones()) == 20


WRITER = """
import sys
from experiments.ledger import Ledger
from experiments.records import StoredCurve
ledger = Ledger.open(sys.argv[1])
print("ready", flush=True)
number = 0
while True:
    cone = ledger.add({"process": "filament", "wall": 0.4, "ribs": number % 9})
    content = bytes([number % 256]) * 20000
    ledger.measure(cone, session="s", curves=[StoredCurve("r", "response", content)],
                   values={"upper_limit": float(number + 1)})
    number += 1
"""


@pytest.mark.parametrize(
    "delays",
    [(0.13,), pytest.param((0.03, 0.05, 0.08, 0.13, 0.21, 0.34), marks=pytest.mark.slow)],
)
def test_a_killed_process_leaves_whole_acts_only(ledger, delays):
    for delay in delays:
        worker = subprocess.Popen(
            [sys.executable, "-c", WRITER, str(ledger.folder)],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
        )
        assert worker.stdout is not None
        assert worker.stdout.readline() == b"ready\n"
        time.sleep(delay)
        worker.send_signal(signal.SIGKILL)
        worker.wait()
        worker.stdout.close()
    assert integrity(ledger.folder) == "ok"
    assert ledger.check() == []
    with ledger.snapshot() as connection:
        count = dict(
            connection.execute(
                """SELECT 'cones', count(*) FROM cones
                UNION ALL SELECT 'settings', count(*) FROM settings
                UNION ALL SELECT 'measured', count(*) FROM cones WHERE status = 'measured'
                UNION ALL SELECT 'measurements', count(*) FROM measurements
                UNION ALL SELECT 'curves', count(*) FROM curves
                UNION ALL SELECT 'acts', count(*) FROM history"""
            ).fetchall()
        )
    assert count["cones"] > 1
    assert count["settings"] == 3 * count["cones"]
    assert count["measured"] == count["measurements"] == count["curves"]
    assert count["acts"] == 1 + count["cones"] + count["measurements"]
    ledger.add({"process": "filament", "wall": 0.4, "ribs": 1})


def test_a_long_wait_for_another_writer_ends_in_plain_words(ledger, resin, monkeypatch):
    monkeypatch.setattr(connecting, "PATIENCE", 0.05)
    blocker = sqlite3.connect(ledger.folder / "experiment.db", isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    try:
        with Ledger.open(ledger.folder) as other:
            assert other.table().empty  # reading goes on
            with pytest.raises(LedgerError, match="another process"):
                other.add(resin)
    finally:
        blocker.close()
    ledger.add(resin)


def test_a_reader_keeps_its_view_while_others_write(ledger, resin):
    ledger.add(resin)
    with Ledger.open(ledger.folder) as other, other.snapshot():
        assert len(other.cones()) == 1
        ledger.add(resin)
        assert len(other.table()) == 1
    assert len(ledger.table()) == 2


def test_a_changed_file_is_noticed_on_reading(ledger, resin):
    ledger.add(resin)
    ledger.measure(
        1, session="monday", curves=[StoredCurve("r.txt", "response", b"1 2 3")], values={}
    )
    change_files(ledger.folder / "experiment.db", b"1 2 4")
    with pytest.raises(LedgerError, match=r"cone 1, session monday, file r\.txt"):
        ledger.curves(1)
    assert [problem.where for problem in ledger.check()] == ["cone 1, session monday, file r.txt"]


@pytest.mark.parametrize("table", ["history", "plans", "files"])
@pytest.mark.parametrize("verb", ["UPDATE {} SET rowid = 99", "DELETE FROM {}"])
def test_the_archive_is_only_ever_added_to(ledger, resin, table, verb):
    ledger.add(resin)
    ledger.measure(1, session="a", curves=[StoredCurve("r", "response", b"x")], values={})
    sql = verb.format(table).replace(
        "rowid = 99", "text = ''" if table == "plans" else "rowid = 99"
    )
    connection = sqlite3.connect(ledger.folder / "experiment.db")
    try:
        with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
            connection.execute(sql)
    finally:
        connection.close()


def test_backup_while_working(ledger, resin, tmp_path, dump):
    ledger.add(resin)
    path = tmp_path / "copy.db"
    ledger.backup(path)
    ledger.add(resin)
    again = tmp_path / "again"
    again.mkdir()
    (again / "experiment.toml").write_text((ledger.folder / "experiment.toml").read_text())
    path.rename(again / "experiment.db")
    with Ledger.open(again) as other:
        assert len(other.cones()) == 1
        other.add(resin)
        assert dump(other)["settings"] == dump(ledger)["settings"]
    assert integrity(again) == "ok"
    assert [one.name for one in tmp_path.iterdir() if "part" in one.name] == []


def test_backup_to_nowhere_is_one_clear_error(ledger, tmp_path):
    with pytest.raises(OutputError, match=r"copy\.db"):
        ledger.backup(tmp_path / "missing" / "copy.db")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "coneloop did not make"),
        (b"this is a text file and no database at all, as anybody can see" * 20, "no SQLite"),
        (b"SQLite format 3\x00" + b"\x07" * 4000, "no SQLite|damaged"),
    ],
)
def test_what_is_no_store_is_refused(ledger, content, words):
    ledger.close()
    for name in ("experiment.db", "experiment.db-wal", "experiment.db-shm"):
        (ledger.folder / name).unlink(missing_ok=True)
    (ledger.folder / "experiment.db").write_bytes(content)
    with pytest.raises(LedgerError, match=words) as refusal:
        Ledger.open(ledger.folder)
    assert len(refusal.value.problems) == 1
    assert (ledger.folder / "experiment.db").read_bytes() == content


def test_damage_is_told_in_plain_words(ledger, resin):
    for _ in range(40):
        ledger.add(resin)
    ledger.close()
    path = ledger.folder / "experiment.db"
    content = bytearray(path.read_bytes())
    content[8192 : 8192 + 6000] = b"\xff" * 6000
    path.write_bytes(content)
    with pytest.raises(LedgerError, match=r"damaged.*coneloop rescue"):
        Ledger.open(ledger.folder)


def test_a_missing_store_is_not_made_by_accident(ledger):
    ledger.close()
    path = ledger.folder / "experiment.db"
    path.unlink()
    with pytest.raises(LedgerError, match="backup"):
        Ledger.open(ledger.folder)
    assert not path.exists()


def test_a_store_that_must_not_be_written_says_so(ledger, resin):
    with ledger.snapshot() as connection:
        connection.execute("PRAGMA query_only = ON")
    with pytest.raises(LedgerError, match="must not be written"):
        ledger.add(resin)


def test_a_writer_that_finds_its_row_gone_says_so(ledger, resin):
    ledger.add(resin)
    connection = sqlite3.connect(ledger.folder / "experiment.db")
    connection.execute("DELETE FROM settings")
    connection.commit()
    connection.close()
    with pytest.raises(LedgerError, match="Another program changed the store"):
        ledger.undo()
    assert len(ledger.history()) == 2


def test_creating_leaves_nothing_behind_when_it_fails(tmp_path, monkeypatch):
    def fail(*_):
        raise sqlite3.OperationalError("no")

    monkeypatch.setattr(store_module, "migrate", fail)
    with pytest.raises(LedgerError):
        Store.create(tmp_path / "experiment.db")
    assert list(tmp_path.iterdir()) == []
