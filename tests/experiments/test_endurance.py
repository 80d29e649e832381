"""Killed processes and many writers: every acknowledged change is there, and no half of any."""

from __future__ import annotations

import multiprocessing
import random
import shutil
import sqlite3
import time
from collections import Counter
from contextlib import closing
from multiprocessing.connection import Connection
from multiprocessing.synchronize import Barrier
from pathlib import Path

import pytest

from experiments.copies import read_copy
from experiments.errors import LedgerError
from experiments.exchange import apply, export_csv, preview_csv
from experiments.history import return_to
from experiments.ledger import Ledger
from experiments.reading import data_digest
from experiments.records import StoredCurve
from experiments.restoring import restore
from tests.experiments.test_schema import lay_out

pytestmark = pytest.mark.slow

WRITES = 500
FILAMENT = {"process": "filament", "wall": 0.6}


def context():
    """Children of one server that has imported everything: a start takes milliseconds."""
    found = multiprocessing.get_context("forkserver")
    found.set_forkserver_preload([__name__])
    return found


def content_of(number):
    return random.Random(number).randbytes(30_000)


def write_one(ledger, kind, number):
    """Do one write; its note says which."""
    if kind == "add":
        ledger.add({**FILAMENT, "ribs": number % 9}, note=f"write {number}")
    elif kind == "measure":
        files = [
            StoredCurve(f"{name}.txt", name, content_of(2 * number + place))
            for place, name in enumerate(("response", "distortion"))
        ]
        cone = ledger.cones()[-1].number
        values = {"upper_limit": 7.0 + number / 1000, "thd_peak": 1.0}
        ledger.measure(cone, session="s", curves=files, values=values, note=f"write {number}")
    elif kind == "import":
        sheet = export_csv(ledger, ledger.folder / "t.csv", force=True)
        head, *rows = sheet.read_text().splitlines()
        column = head.split(",").index("remark" if "remark" in head.split(",") else "note")
        cells = [row.split(",") for row in rows]
        for row in cells:
            row[column] = f"import {number}"
        sheet.write_text("\n".join([head, *map(",".join, cells)]) + "\n")
        apply(ledger, preview_csv(ledger, sheet))
    elif kind == "backup":
        ledger.backup(ledger.folder / "kept.db")
    elif kind == "restore":
        restore(ledger.folder, ledger.folder / "kept.db", who="maker")
    else:
        ledger.undo(act=ledger.history(1)["id"].iloc[0])


SAID = {"undo": "comes first", "measure": "byte for byte"}
KINDS = ["add"] * 4 + ["measure"] * 4 + ["import"] * 2 + ["backup"] * 2 + ["restore", "undo"]


def work(folder: str, first: int, count: int, acks: Connection) -> None:
    """Write, and say after each write what the store then is."""
    with Ledger.open(folder, who="worker") as ledger:
        for number in range(first, first + count):
            kind = random.Random(number).choice(KINDS)
            if kind == "restore" and not (Path(folder) / "kept.db").exists():
                kind = "backup"
            try:
                write_one(ledger, kind, number)
            except LedgerError as error:
                # The last act is an undo or a restore itself; or the one before was killed between
                # the write and its acknowledgement, and these very files are there already.
                if kind not in SAID or SAID[kind] not in str(error):
                    raise
            with ledger.snapshot() as connection:
                last = connection.execute("SELECT max(id) FROM history").fetchone()[0]
                acks.send((number, kind, last, data_digest(connection)))


def check_whole(folder, acknowledged):
    """The store opens, passes its checks, and is the acknowledged state, or one act beyond it."""
    with closing(sqlite3.connect(folder / "experiment.db")) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    last, digest = acknowledged
    with Ledger.open(folder) as ledger:
        assert ledger.check() == []
        measurements = {one.id: one for one in ledger.measurements()}
        for one in ledger.curves():
            number = measurements[one.measurement].note
            if number.startswith("write"):
                place = ("response", "distortion").index(one.kind)
                assert one.content == content_of(2 * int(number.split()[1]) + place)
        assert all(len(one.files) == 2 and len(one.values) >= 2 for one in measurements.values())
        assert all(len(cone.settings) == 3 for cone in ledger.cones())
        history = ledger.history()
        beyond = history[history["id"] > last]
        assert len(beyond) <= 1 or set(beyond["act"]) == {"add", "measure"}
        with ledger.snapshot() as connection:
            now = data_digest(connection)
        if beyond.empty:
            assert now == digest
        elif beyond["act"].iloc[0] == "import":
            notes = {cone.note for cone in ledger.cones()}
            assert len(notes) == 1  # all rows of the sheet, or none
        if not beyond.empty and beyond["act"].iloc[0] != "restore":
            with ledger.rehearsal() as writer:
                return_to(writer, last)
                assert data_digest(writer.connection) == digest
    if (folder / "kept.db").exists():
        read_copy(folder / "kept.db")
    for copy in (folder / "backups").glob("*.db"):
        read_copy(copy)


def test_a_process_killed_at_any_point_leaves_whole_writes(tmp_path, plan_text, capsys):
    folder, rng, ways = tmp_path / "radio", random.Random(7), context()
    with Ledger.create(folder, plan_text) as ledger:
        for number in range(2):
            ledger.add({**FILAMENT, "ribs": number})
        state = (3, ledger.data_digest())
    first, kills, kinds = 0, 0, Counter()
    while first < WRITES:
        ours, theirs = ways.Pipe(duplex=False)
        worker = ways.Process(target=work, args=(str(folder), first, WRITES - first, theirs))
        worker.start()
        theirs.close()
        writes = rng.randrange(12)
        try:
            for _ in range(writes):
                number, kind, *last = ours.recv()
                state, first = tuple(last), number + 1
                kinds[kind] += 1
            time.sleep(rng.uniform(0, 0.04))
        except EOFError:  # it is done with all
            pass
        worker.kill()
        worker.join()
        assert worker.exitcode in (-9, 0)
        while ours.poll():  # what was acknowledged before the kill
            try:
                number, kind, *last = ours.recv()
            except (EOFError, OSError):
                break
            state, first = tuple(last), number + 1
            kinds[kind] += 1
        kills += 1
        check_whole(folder, state)
        with Ledger.open(folder) as ledger:
            # An act beyond the last acknowledgement is there as a whole; go on from it.
            state = (int(ledger.history(1)["id"].iloc[0]), ledger.data_digest())
    with capsys.disabled():
        print(f"\n{sum(kinds.values())} acknowledged writes, {kills} kills: {dict(kinds)}")
    assert kills > 30


def bring_up(folder: str, acks: Connection) -> None:
    acks.send("ready")
    Ledger.open(folder).close()
    acks.send("done")


def test_a_process_killed_while_it_brings_a_store_up_changes_nothing_by_half(
    tmp_path, plan_text, capsys
):
    ways, rng, found = context(), random.Random(3), Counter()
    old = tmp_path / "old"
    old.mkdir()
    lay_out(old, 2, plan_text)
    with Ledger.open(shutil.copytree(old, tmp_path / "sound")) as ledger:
        digest = ledger.data_digest()
    for number in range(40):
        folder = shutil.copytree(old, tmp_path / f"{number}")
        ours, theirs = ways.Pipe(duplex=False)
        worker = ways.Process(target=bring_up, args=(str(folder), theirs))
        worker.start()
        assert ours.recv() == "ready"
        time.sleep(rng.uniform(0, 0.3))
        worker.kill()
        worker.join()
        with closing(sqlite3.connect(folder / "experiment.db")) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            found[connection.execute("PRAGMA user_version").fetchone()[0]] += 1
        with Ledger.open(folder) as ledger:
            assert ledger.data_digest() == digest
            assert ledger.check() == []
        shutil.rmtree(folder)
    with capsys.disabled():
        print(f"\nkilled while bringing a store up, found versions: {dict(found)}")
    assert len(found) == 2


def write_many(folder: str, process: int, count: int, barrier: Barrier) -> None:
    with Ledger.open(folder, who=f"process {process}") as ledger:
        barrier.wait(120)
        for number in range(count):
            ledger.add({**FILAMENT, "ribs": number % 9}, note=f"{process} {number}")


def test_eight_processes_write_1600_changes(tmp_path, plan_text, capsys):
    folder, ways, began = tmp_path / "radio", context(), time.monotonic()
    Ledger.create(folder, plan_text).close()
    barrier = ways.Barrier(8)
    workers = [
        ways.Process(target=write_many, args=(str(folder), process, 200, barrier))
        for process in range(8)
    ]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(300)
        assert worker.exitcode == 0
    with capsys.disabled():
        print(f"\n1600 changes by 8 processes in {time.monotonic() - began:.1f} s")
    with Ledger.open(folder) as ledger:
        cones = ledger.cones()
        assert [cone.number for cone in cones] == list(range(1, 1601))
        told = [cone.note for cone in cones]
        assert sorted(told) == sorted(f"{p} {n}" for p in range(8) for n in range(200))
        assert len(ledger.history()) == 1601
        assert ledger.check() == []
