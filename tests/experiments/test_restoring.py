"""Putting a backup back: said first, whole or not at all, and nothing lost by it."""

from __future__ import annotations

import tempfile
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments import restoring, schema, store
from experiments.copies import read_copy
from experiments.damage import find_damage
from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.records import StoredCurve
from experiments.restoring import preview_restore, restore
from experiments.schema import STATE_TABLES
from tests.examples import examples
from tests.experiments.conftest import PLAN


@pytest.fixture
def backed(ledger, resin, tmp_path):
    """A folder with two cones more than its backup, and another plan."""
    ledger.add(resin, mass=2.5)
    ledger.measure(1, session="a", curves=[StoredCurve("r", "response", b"1")], values={})
    ledger.backup(tmp_path / "b.db")
    ledger.add(resin)
    ledger.add(resin)
    ledger.undo()
    plan = ledger.folder / "experiment.toml"
    plan.write_text(plan.read_text().replace("seed = 3", "seed = 4"))
    return ledger


def test_the_preview_says_all_that_would_change(backed, tmp_path):
    look = preview_restore(backed.folder, tmp_path / "b.db")
    assert [text.partition(": ")[2] for text in look.taken] == [
        "cone 2 added as printed",
        "cone 3 added as printed",
        "undid: cone 3 added as printed",
    ]
    assert (look.brought, look.shared, look.cones) == ([], 3, (2, 1))
    assert look.plan_changes
    assert not look.damage
    assert len(backed.cones()) == 2
    assert not (backed.folder / "backups").exists()


def test_it_is_what_it_was_and_what_was_here_is_kept(backed, tmp_path, dump):
    with Ledger.open(backed.folder) as other:  # an open ledger sees it, too
        now = dump(backed)
        told = restore(backed.folder, tmp_path / "b.db", who="maker")
        assert len(other.cones()) == 1
        assert other.plan.seed == 3
        assert other.check() == []
        assert [curve.content for curve in other.curves()] == [b"1"]
    (kept,) = (backed.folder / "backups").iterdir()
    assert kept.name in told
    assert read_copy(kept).cones == 2
    restore(backed.folder, kept, who="maker")
    assert dump(backed) == now
    assert backed.plan.seed == 4
    assert preview_restore(backed.folder, tmp_path / "b.db").brought == []


def test_the_history_says_so_and_no_number_is_given_twice(backed, tmp_path, resin):
    last = int(backed.history(1)["id"].iloc[0])
    restore(backed.folder, tmp_path / "b.db", who="maker")
    row = backed.history(1).iloc[0]
    assert (row["id"], row["act"], row["who"]) == (last + 1, "restore", "maker")
    assert "b.db put back in place of act 6" in row["summary"]
    assert backed.add(resin) == 4
    assert backed.undo() == "undid: cone 4 added as printed"
    assert backed.undo() == "undid: cone 1 measured in session a"


def test_a_sheet_of_days_that_are_gone_is_refused(backed, tmp_path):
    last = int(backed.history(1)["id"].iloc[0])
    restore(backed.folder, tmp_path / "b.db", who="maker")
    with pytest.raises(LedgerError, match="Export the table again"):
        backed.wide_table_at(last)
    assert len(backed.wide_table_at(2)) == 1


def test_nothing_is_done_where_nothing_would_change(ledger, resin, tmp_path):
    ledger.add(resin)
    ledger.backup(tmp_path / "b.db")
    assert restore(ledger.folder, tmp_path / "b.db", who="x") == (
        "nothing to change: all is as in b.db"
    )
    assert len(ledger.history()) == 2
    assert not (ledger.folder / "backups").exists()


@pytest.mark.parametrize("gone", [True, False])
def test_a_store_that_cannot_be_used_is_replaced_and_kept(backed, tmp_path, resin, gone):
    backed.close()
    store = backed.folder / "experiment.db"
    if gone:
        store.unlink()
    else:
        content = bytearray(store.read_bytes())
        content[4096 * 3 : 4096 * 12] = b"\xff" * 4096 * 9
        store.write_bytes(content)
    look = preview_restore(backed.folder, tmp_path / "b.db")
    assert ("no such file" if gone else "damage") in look.damage
    restore(backed.folder, tmp_path / "b.db", who="maker")
    (kept,) = (backed.folder / "backups").glob("*_damaged")
    if not gone:
        assert (kept / "experiment.db").read_bytes() == content
    with Ledger.open(backed.folder) as ledger:
        assert ledger.check() == []
        assert len(ledger.cones()) == 1
        assert ledger.history(1)["id"].iloc[0] > 1000
    assert not list(backed.folder.glob(".restore*"))


def test_what_is_written_meanwhile_is_not_lost(backed, tmp_path, resin, monkeypatch):
    def meanwhile(*given):
        with Ledger.open(backed.folder) as other:
            other.add(resin, note="just now")
        return prepare(*given)

    prepare = restoring._prepare
    monkeypatch.setattr(restoring, "_prepare", meanwhile)
    with pytest.raises(LedgerError, match="written meanwhile"):
        restore(backed.folder, tmp_path / "b.db", who="maker")
    assert backed.cones()[-1].note == "just now"
    assert backed.check() == []


def test_a_backup_of_an_earlier_release_is_brought_up(backed, tmp_path, monkeypatch):
    longer = (*schema.MIGRATIONS, ("ALTER TABLE cones ADD COLUMN colour TEXT",))
    backed.close()
    for module in (schema, store):
        monkeypatch.setattr(module, "MIGRATIONS", longer)
    restore(backed.folder, tmp_path / "b.db", who="maker")
    with Ledger.open(backed.folder) as ledger:
        assert len(ledger.cones()) == 1
        with ledger.snapshot() as connection:
            assert connection.execute("SELECT colour FROM cones").fetchall() == [(None,)]
    names = {path.name[18:] for path in (backed.folder / "backups").iterdir()}
    assert names == {"before_migration.db", "before_restore.db"}


FILAMENT = {"process": "filament", "wall": 0.6, "ribs": 0}
VALUES = st.floats(-1e6, 1e6) | st.sampled_from([0.0, -0.0, 5e-324, 1e300, 0.1, 2.0])
WORDS = st.text(max_size=20)
ACTS = st.one_of(
    st.tuples(st.just("add"), st.integers(0, 8), WORDS),
    st.tuples(st.just("measure"), VALUES, st.binary(max_size=6000)),
    st.tuples(st.just("note"), WORDS.filter(str.strip), st.none()),
    st.tuples(st.just("undo"), st.none(), st.none()),
)


def do(ledger, acts):
    """Do acts, those that the state allows."""
    for name, one, two in acts:
        with suppress(LedgerError):
            if name == "add":
                ledger.add({**FILAMENT, "ribs": one}, note=two)
            elif name == "measure":
                files = [StoredCurve("r.txt", "response", two)] if two else []
                cone = ledger.cones()[-1].number if ledger.cones() else 1
                ledger.measure(cone, session="s", curves=files, values={"upper_limit": one})
            elif name == "note":
                ledger.note(one)
            else:
                ledger.undo()


@settings(max_examples=examples(6), deadline=None)
@given(before=st.lists(ACTS, max_size=8), after=st.lists(ACTS, max_size=5))
def test_backup_then_restore_is_the_identity(before, after):
    with tempfile.TemporaryDirectory() as place:
        with Ledger.create(Path(place) / "radio", PLAN, who="maker") as ledger:
            do(ledger, before)
            ledger.backup(Path(place) / "b.db")
            was = everything(ledger)
            do(ledger, after)
            restore(ledger.folder, Path(place) / "b.db", who="maker")
            assert everything(ledger) == was
            with ledger.snapshot() as connection:
                assert find_damage(connection) == []
            again = ledger.backup(Path(place) / "again.db")
        assert again.cones == read_copy(Path(place) / "b.db").cones


def everything(ledger):
    """Every row but what says that it was put back; raw files as far as a measurement has them."""
    with ledger.snapshot() as connection:
        rows = {
            table: connection.execute(f"SELECT * FROM {table}").fetchall()
            for table in (*STATE_TABLES, "plans")
        }
        acts = connection.execute("SELECT * FROM history WHERE act <> 'restore'").fetchall()
    return rows, acts, ledger.curves()
