"""An archive taken out into a folder that somebody may be at work in."""

from __future__ import annotations

import pytest

from experiments.errors import ArchiveError, OutputError
from experiments.ledger import Ledger
from experiments.moving_in import move_in
from experiments.packing import pack
from experiments.strangers import check_stranger
from tests.bench_page import PLAN


@pytest.fixture
def archive(tmp_path):
    with Ledger.create(tmp_path / "given", PLAN) as ledger:
        ledger.add({"process": "filament", "wall": 0.5})
        pack(ledger, tmp_path / "given.zip")
    return tmp_path / "given.zip"


def test_the_folder_stays_the_one_it_is_and_keeps_what_it_held(archive, tmp_path):
    here = tmp_path / "here"
    here.mkdir()
    (here / "cone 1.txt").write_text("raw")
    before = here.stat().st_ino
    assert move_in(archive, here).name == "window-sill radio"
    assert here.stat().st_ino == before
    names = {"cards", "cone 1.txt", "experiment.db", "experiment.toml"}
    assert {each.name for each in here.iterdir()} == names
    with Ledger.open(here) as ledger:
        assert len(ledger.cones()) == 1


def test_an_experiment_is_never_written_over(archive, tmp_path):
    for name in ("experiment.toml", "experiment.db"):
        here = tmp_path / name
        here.mkdir()
        (here / name).symlink_to("nowhere")
        with pytest.raises(OutputError, match="no experiment yet"):
            move_in(archive, here)
        assert [each.name for each in here.iterdir()] == [name]


def test_what_is_refused_leaves_nothing(archive, tmp_path):
    archive.write_bytes(archive.read_bytes()[:-40])
    with pytest.raises(ArchiveError):
        move_in(archive, tmp_path / "here")
    assert list((tmp_path / "here").iterdir()) == []


def test_a_backup_has_one_table_more_and_no_other_is_let_in(tmp_path):
    with Ledger.create(tmp_path / "given", PLAN) as ledger:
        ledger.backup(tmp_path / "copy.db")
    check_stranger(tmp_path / "copy.db", "copy.db", backup=True)
    with pytest.raises(ArchiveError, match="table backup"):
        check_stranger(tmp_path / "copy.db", "copy.db")
