"""Rescue: what is certain to be right is saved, what is lost is named, the source is only read."""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
from contextlib import closing

import pytest

from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.records import StoredCurve
from experiments.rescuing import LIST, rescue
from tests.experiments.conftest import PLAN
from tests.experiments.test_schema import lay_out
from tests.stores import change_files, pages_of

PAGE = 4096


@pytest.fixture(scope="module")
def _built(tmp_path_factory):
    """Thirty cones with raw files of several pages, a remark, a plate of proposals."""
    filament = {"process": "filament", "wall": 0.6, "ribs": 0}
    ledger = Ledger.create(tmp_path_factory.mktemp("built") / "radio", PLAN, who="maker")
    for number in range(30):
        cone = ledger.add({**filament, "ribs": number % 9}, mass=2.0 + number / 100)
        content = random.Random(number).randbytes(6000)
        ledger.measure(
            cone,
            session=f"day {number // 10}",
            curves=[StoredCurve(f"r{number}.txt", "response", content)],
            values={"upper_limit": 7 + number / 100, "mass": 2.0 + number / 100},
        )
    ledger.plan_cones([filament], proposal={"seed": 3})
    ledger.note("all well", cone=3)
    (ledger.cards / "cone_31.html").write_text("a card")
    ledger.close()
    return ledger.folder


@pytest.fixture
def source(_built, tmp_path):
    """A copy that a test may spoil."""
    return shutil.copytree(_built, tmp_path / "radio")


def state(folder):
    return {path.name: path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def spoil(folder, pages):
    path = folder / "experiment.db"
    content = bytearray(path.read_bytes())
    for page in pages:
        content[(page - 1) * PAGE : page * PAGE] = random.Random(page).randbytes(PAGE)
    path.write_bytes(content)


def everything(folder, *, without=("rescue",)):
    with closing(sqlite3.connect(folder / "experiment.db")) as connection:
        tables = [
            name
            for (name,) in connection.execute(
                "SELECT name FROM sqlite_schema WHERE type = 'table' AND name <> 'totals'"
            )
        ]
        return {
            table: {row for row in connection.execute(f"SELECT * FROM {table}")}
            for table in tables
            if table != "history"
        } | {
            "history": {
                row for row in connection.execute("SELECT * FROM history") if row[3] not in without
            }
        }


def test_of_a_sound_store_everything_is_saved(source, tmp_path):
    before = state(source)
    told = rescue(source, tmp_path / "new", who="maker")
    assert told.lost == []
    assert told.kept["cones"] == 31
    assert told.files == 30
    assert state(source) == before
    assert everything(tmp_path / "new") == everything(source)
    assert (tmp_path / "new" / "cards" / "cone_31.html").read_text() == "a card"
    assert "lost: nothing" in (tmp_path / "new" / LIST).read_text()
    with Ledger.open(tmp_path / "new") as ledger:
        assert ledger.check() == []
        assert ledger.history(1)["act"].iloc[0] == "rescue"
        with pytest.raises(LedgerError, match="nothing left to undo"):
            ledger.undo()
        with pytest.raises(LedgerError, match="Export the table again"):
            ledger.wide_table_at(3)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["new", "radio"]


def test_pages_that_are_only_signposts_cost_nothing(source, tmp_path):
    """The header, the layout, the roots of trees and the indexes: no row lies there."""
    owners = pages_of(source / "experiment.db")
    inner = [page for page, (table, kind) in owners.items() if kind == "internal" or not table]
    assert len(inner) > 5
    expected = everything(source)
    spoil(source, [1, *inner])
    with pytest.raises(LedgerError, match="coneloop rescue"):
        Ledger.open(source)
    told = rescue(source, tmp_path / "new", who="maker")
    assert told.lost == []
    assert everything(tmp_path / "new") == expected


@pytest.mark.parametrize("table", ["cones", "settings", "measurements", "readings", "history"])
def test_rows_of_a_damaged_page_are_lost_and_named_the_others_saved(source, tmp_path, table):
    owners = pages_of(source / "experiment.db")
    page = next(p for p, (name, kind) in owners.items() if (name, kind) == (table, "leaf"))
    expected = everything(source)
    spoil(source, [page])
    told = rescue(source, tmp_path / "new", who="maker")
    found = everything(tmp_path / "new")
    for other in set(expected) - {table, "cones", "measurements"}:
        assert found[other] == expected[other]
    lost = expected[table] - found[table]
    assert lost
    if table != "history":
        assert len(told.lost) == 1 or table in ("cones", "measurements")
    assert any(f"{len(lost)} ×" in text for text in told.lost)
    steps = " ".join(told.steps(tmp_path / "new"))
    assert (table in told.lacking, "check --in" in steps) == (True, True)
    assert ("coneloop recompute" in steps) == ("readings" in told.lacking)
    assert ("coneloop import" in steps) == (table != "history")
    with Ledger.open(tmp_path / "new") as ledger:
        assert json.loads(json.dumps(told.lost)) == ledger.history(1)["arguments"].iloc[0]["lost"]
        stand_ins = [cone for cone in ledger.cones() if cone.status == "set aside"]
        assert bool(stand_ins) == (table == "cones")
        for cone in stand_ins:
            assert "lost in damage" in cone.why
            assert ledger.measurements(cone.number) or cone.number == 31
        if table == "measurements":
            sessions = {one.cone: one.session for one in ledger.measurements()}
            assert sessions == {n + 1: f"day {n // 10}" for n in range(30)}


def test_a_lost_raw_file_is_named_by_its_cone(source, tmp_path):
    path = source / "experiment.db"
    owners = pages_of(path)
    page = next(p for p, (name, kind) in owners.items() if (name, kind) == ("files", "overflow"))
    spoil(source, [page])
    told = rescue(source, tmp_path / "new", who="maker")
    assert told.files == 29
    (text,) = told.lost
    assert text.startswith("the raw file r")
    number = int(text.split()[3].removeprefix("r").removesuffix(".txt"))
    assert f"of measurement {number + 1} of cone {number + 1}, SHA-256" in text
    with Ledger.open(tmp_path / "new") as ledger:
        assert len(ledger.curves()) == 29
        assert len(ledger.measurements()) == 30


def test_changed_values_are_lost_not_believed(source, tmp_path):
    path = source / "experiment.db"
    content = path.read_bytes()
    value = b"\x40\x1c\x28\xf5\xc2\x8f\x5c\x29"  # 7.04 as IEEE 754 has it
    assert content.count(value) == 1
    path.write_bytes(content.replace(value, b"\x40\x1d" + value[2:]))
    told = rescue(source, tmp_path / "new", who="maker")
    assert told.lost == ["1 × value of a metric: 9"]


def test_a_store_changed_by_another_program_is_saved_as_far_as_it_is_ours(source, tmp_path):
    change_files(source / "experiment.db", b"other")
    told = rescue(source, tmp_path / "new", who="maker")
    assert told.files == 0
    assert len(told.lost) == 30


def test_changes_in_the_log_of_a_killed_process_are_saved(ledger, resin, tmp_path):
    for _ in range(5):
        ledger.add(resin)
    crashed = shutil.copytree(ledger.folder, tmp_path / "crashed")
    assert rescue(crashed, tmp_path / "one", who="maker").kept["cones"] == 5
    log = bytearray((crashed / "experiment.db-wal").read_bytes())
    log[-80000] ^= 1
    (crashed / "experiment.db-wal").write_bytes(log)
    told = rescue(crashed, tmp_path / "two", who="maker")
    assert 0 < told.kept["cones"] < 5
    assert "write-ahead log" in told.lost[-1]


@pytest.mark.parametrize("version", [1, 2, 3])
def test_a_store_of_an_early_release_is_saved_with_a_caution(tmp_path, plan_text, version):
    source = tmp_path / "old"
    source.mkdir()
    lay_out(source, version, plan_text)
    told = rescue(source, tmp_path / "new", who="maker")
    assert "nothing vouches for its values" in told.notes[0]
    assert told.lost == []
    with Ledger.open(source) as old, Ledger.open(tmp_path / "new") as new:
        assert new.cones() == old.cones()
        assert new.measurements() == old.measurements()
        assert new.curves() == old.curves()


def test_a_missing_plan_is_taken_from_the_store(source, tmp_path, plan_text):
    (source / "experiment.toml").unlink()
    told = rescue(source, tmp_path / "new", who="maker")
    assert "it is the plan of the last act" in told.notes[0]
    assert (tmp_path / "new" / "experiment.toml").read_text() == plan_text


@pytest.mark.parametrize(
    ("source_name", "target", "words"),
    [
        ("radio", "radio", "something that exists"),
        ("radio", "radio/new", "in the damaged folder"),
        ("radio", "missing/new", "no such folder"),
        (".", "new", "no experiment.db"),
    ],
)
def test_places_that_will_not_do(source, tmp_path, source_name, target, words):
    with pytest.raises(LedgerError, match=words):
        rescue(tmp_path / source_name, tmp_path / target, who="maker")


def test_a_foreign_file_is_nothing_to_rescue(tmp_path):
    (tmp_path / "old").mkdir()
    (tmp_path / "old" / "experiment.db").write_bytes(random.Random(0).randbytes(50000))
    with pytest.raises(LedgerError, match="nothing of an experiment"):
        rescue(tmp_path / "old", tmp_path / "new", who="maker")
    assert [path.name for path in tmp_path.iterdir()] == ["old"]
