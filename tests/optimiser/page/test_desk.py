"""The open experiment: ledgers are lent and kept, states tell what answers stand on."""

from __future__ import annotations

import shutil

import pytest

from experiments.errors import LedgerError
from experiments.ledger import Ledger
from optimiser.page.desk import Desk
from optimiser.page.work import Outdated


@pytest.fixture
def desk(empty):
    made = Desk(empty)
    yield made
    made.close()


def test_a_ledger_is_lent_to_one_at_a_time_and_kept(desk):
    with desk.ledger() as one, desk.ledger() as other:
        assert one is not other
    with desk.ledger() as again:
        assert again in (one, other)


def test_a_store_that_was_put_back_is_opened_anew(desk, tmp_path):
    with desk.ledger() as ledger:
        ledger.add({"process": "filament", "wall": 0.5})
    (tmp_path / "other").mkdir()
    Ledger.create(tmp_path / "other" / "t", (desk.folder / "experiment.toml").read_text()).close()
    for path in desk.folder.glob("experiment.db*"):
        path.unlink()
    shutil.copy(tmp_path / "other" / "t" / "experiment.db", desk.folder / "experiment.db")
    with desk.ledger() as ledger:
        assert ledger.cones() == []


def test_the_state_changes_with_data_and_plan_and_comes_back_with_undo(desk):
    with desk.ledger() as ledger:
        first, version = desk.state(ledger), desk.version(ledger)
        ledger.add({"process": "filament", "wall": 0.5})
        assert desk.state(ledger) != first
        with pytest.raises(Outdated):
            desk.trials(first)
        ledger.undo()
        assert desk.state(ledger) == first
        assert desk.version(ledger) != version
        assert len(desk.trials(first)[1]) == 0
        plan = desk.folder / "experiment.toml"
        plan.write_text(plan.read_text().replace("high = 1.2", "high = 1.30"))
        assert desk.state(ledger) != first


@pytest.mark.parametrize("name", ["experiment.toml", "experiment.db"])
def test_a_link_is_not_opened(desk, tmp_path, name):
    (desk.folder / name).rename(tmp_path / "elsewhere")
    (desk.folder / name).symlink_to(tmp_path / "elsewhere")
    with pytest.raises(LedgerError, match="a link"), desk.ledger():
        pass


def test_what_no_note_changes_is_read_again_only_after_another_act(desk):
    with desk.ledger() as ledger:
        number = ledger.add({"process": "filament", "wall": 0.5})
        cones, table = desk.cones(ledger), desk.table(ledger)
        ledger.note("looks good", cone=number)
        assert desk.cones(ledger) is cones
        assert desk.table(ledger) is table
        ledger.set_aside(number, why="lent")
        assert [cone.status for cone in desk.cones(ledger)] == ["set aside"]
        assert list(desk.table(ledger)["status"]) == ["set aside"]
        ledger.undo()
        assert [cone.status for cone in desk.cones(ledger)] == ["printed"]
