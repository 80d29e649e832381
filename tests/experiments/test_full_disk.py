"""A full disk and a folder that must not be written: one clear error, and nothing lost."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.records import StoredCurve

ROOT = Path(__file__).resolve().parents[2]


def big(ledger):
    content = os.urandom(200_000)
    ledger.measure(1, session="a", curves=[StoredCurve("r", "response", content)], values={})


def test_an_act_that_finds_no_room_changes_nothing(ledger, resin, dump):
    ledger.add(resin)
    before = dump(ledger)
    with ledger.snapshot() as connection:
        # SQLite's own limit; it answers as it does when the disk is full (SQLITE_FULL).
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count = {pages + 2}")
    with pytest.raises(LedgerError, match=r"a full disk.*Make room.*nothing was changed"):
        big(ledger)
    assert dump(ledger) == before
    assert ledger.check() == []
    ledger.note("there is room for little things")


# Imports first: the limits below would hold for them, too.
CHILD = """
import json, os, resource, sys
from experiments.errors import ExperimentError
from experiments.ledger import Ledger
from experiments.records import StoredCurve
from experiments.restoring import restore
from experiments.rescuing import rescue
folder, what = sys.argv[1:3]

def limit():
    # The largest file that this process may write: a real refusal by the system (EFBIG).
    size = os.path.getsize(os.path.join(folder, "experiment.db"))
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 60_000,) * 2)

def act():
    if what == "measure":
        with Ledger.open(folder) as ledger:
            limit()
            curve = StoredCurve("r", "response", os.urandom(200_000))
            ledger.measure(1, session="a", curves=[curve], values={})
    elif what == "backup":
        with Ledger.open(folder) as ledger:
            resource.setrlimit(resource.RLIMIT_FSIZE, (40_000,) * 2)
            ledger.backup(os.path.join(folder, "b.db"))
    elif what == "rescue":
        resource.setrlimit(resource.RLIMIT_FSIZE, (40_000,) * 2)
        rescue(folder, folder + "-rescued", who="maker")
    elif what == "restore":
        resource.setrlimit(resource.RLIMIT_FSIZE, (40_000,) * 2)
        restore(folder, folder + ".db", who="maker")
    else:
        if os.getuid() == 0:
            os.setgid(65534)
            os.setuid(65534)  # root may write anywhere; somebody else may not
        if what == "add":
            with Ledger.open(folder) as ledger:
                ledger.add({"process": "filament", "wall": 0.6, "ribs": 0})
        else:
            restore(folder, folder + ".db", who="maker")

try:
    act()
except ExperimentError as error:
    print(json.dumps([str(one) for one in error.problems]))
except OSError as error:
    print(json.dumps(["bare " + str(error)]))
"""


@pytest.fixture
def place():
    """A folder that other users of the computer can reach."""
    path = Path(tempfile.mkdtemp(prefix="coneloop-test-"))
    path.chmod(0o755)
    yield path
    shutil.rmtree(path)


@pytest.fixture
def folder(place, plan_text, resin):
    with Ledger.create(place / "radio", plan_text) as ledger:
        ledger.add(resin)
        ledger.backup(place / "radio.db")
        ledger.add(resin)
        for _ in range(30):
            ledger.note("a remark that takes some room " * 20)
    (place / "radio" / "backups").mkdir()
    return place / "radio"


def state(place):
    return {
        str(path.relative_to(place)): path.read_bytes()
        for path in sorted(place.rglob("*"))
        if path.is_file() and not path.name.endswith("-shm")
    }


def told(folder, what):
    done = subprocess.run(
        [sys.executable, "-c", CHILD, str(folder), what],
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
    )
    assert done.returncode == 0, done.stderr
    (problem,) = json.loads(done.stdout)
    return problem


@pytest.mark.slow
@pytest.mark.parametrize("what", ["measure", "backup", "rescue", "restore"])
def test_a_disk_that_takes_no_more_is_one_clear_error(folder, what):
    before = state(folder.parent)
    problem = told(folder, what)
    assert "bare" not in problem
    assert "full disk" in problem or "a disk that gives an error" in problem
    assert state(folder.parent) == before
    with Ledger.open(folder) as ledger:
        assert ledger.check() == []
        assert len(ledger.cones()) == 2
        big(ledger)


@pytest.mark.slow
@pytest.mark.parametrize("what", ["add", "put back"])
def test_a_folder_that_must_not_be_written_is_one_clear_error(folder, what):
    before = state(folder.parent)
    for path in (folder, folder / "experiment.db", folder / "experiment.toml", folder / "backups"):
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        problem = told(folder, what)
    finally:
        for path in (folder, folder / "backups"):
            path.chmod(0o755)
    assert "the right to write" in problem
    assert state(folder.parent) == before
    folder.joinpath("experiment.db").chmod(0o644)
    with Ledger.open(folder) as ledger:
        assert ledger.check() == []
        assert len(ledger.cones()) == 2
