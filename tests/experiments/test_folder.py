"""A new experiment comes to be whole or not at all."""

from __future__ import annotations

import pytest

from experiments.errors import LedgerError, PlanError
from experiments.folder import found_experiment
from experiments.ledger import Ledger


def test_a_new_folder_holds_plan_store_and_cards(ledger, plan_text):
    names = {path.name for path in ledger.folder.iterdir()}
    assert {"experiment.toml", "experiment.db", "cards"} <= names
    assert (ledger.folder / "experiment.toml").read_text() == plan_text
    assert ledger.cards.is_dir()
    assert ledger.plan.name == "window-sill radio"
    assert ledger.history()["act"].tolist() == ["start"]


def test_an_experiment_is_never_written_over(ledger, plan_text, resin):
    ledger.add(resin)
    with pytest.raises(LedgerError, match="Choose another folder"):
        Ledger.create(ledger.folder, plan_text)
    (ledger.folder / "experiment.db").rename(ledger.folder / "elsewhere.db")
    with pytest.raises(LedgerError, match="Choose another folder"):
        Ledger.create(ledger.folder, plan_text)
    assert not (ledger.folder / "experiment.db").exists()


def test_a_broken_plan_leaves_no_folder(tmp_path):
    for text in ("", "name = ", 'name = "x"\ncolour = "red"\n'):
        with pytest.raises(PlanError):
            found_experiment(tmp_path / "new", text)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_with_other_files_may_become_an_experiment(tmp_path, plan_text):
    (tmp_path / "response.txt").write_text("raw")
    with Ledger.create(tmp_path, plan_text):
        pass
    assert (tmp_path / "response.txt").read_text() == "raw"


def test_a_place_that_cannot_be_written_is_one_clear_error(tmp_path, plan_text):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(LedgerError) as refusal:
        Ledger.create(tmp_path / "file" / "inside", plan_text)
    assert len(refusal.value.problems) == 1


def test_failing_half_way_leaves_nothing(tmp_path, plan_text, monkeypatch):
    def fail(path):
        path.write_bytes(b"half")
        raise LedgerError("disk full")

    monkeypatch.setattr("experiments.store.Store.create", fail)
    with pytest.raises(LedgerError, match="disk full"):
        Ledger.create(tmp_path / "new", plan_text)
    assert list((tmp_path / "new").iterdir()) == []


def test_where_no_experiment_is_the_error_says_how_to_begin(tmp_path):
    for folder in (tmp_path / "missing", tmp_path):
        with pytest.raises(LedgerError, match="coneloop start"):
            Ledger.open(folder)


def test_a_plan_that_vanishes_while_open_is_one_clear_error(ledger):
    (ledger.folder / "experiment.toml").unlink()
    with pytest.raises(LedgerError, match=r"experiment\.toml"):
        ledger.table()
