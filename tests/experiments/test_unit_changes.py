"""A variable whose unit the plan changed: never read in silence as something else."""

from __future__ import annotations

import pytest

from experiments.errors import LedgerError
from experiments.recomputing import recompute
from experiments.unit_changes import unit_changes

MICRONS = {
    'unit = "mm"': 'unit = "µm"',
    "low = 0.2": "low = 200",
    "high = 1.0": "high = 1000",
    "step = 0.1": "step = 100",
}


@pytest.fixture
def worked(ledger, resin, filament):
    """Two cones with walls of 0.4 and 0.6 mm, one of them measured, and one set aside."""
    ledger.plan_cones([resin, filament, resin])
    ledger.printed(1)
    ledger.measure(1, session="may", values={"upper_limit": 9.0})
    ledger.set_aside(3, why="lent")
    return ledger


def edit(ledger, changes):
    path = ledger.folder / "experiment.toml"
    text = path.read_text(encoding="utf-8")
    for old, new in changes.items():
        text = text.replace(old, new, 1)
    path.write_text(text, encoding="utf-8")


def walls(ledger):
    return ledger.table(strict=False)["wall"].tolist()


def test_nothing_is_found_where_nothing_changed(worked):
    with worked.snapshot() as connection:
        assert unit_changes(connection, worked.plan) == []
    edit(worked, {'unit = "mm"': 'unit = " mm "'})
    with worked.snapshot() as connection:
        assert unit_changes(connection, worked.plan) == []


def test_another_unit_is_refused_with_the_ways_out(worked):
    edit(worked, MICRONS)
    with pytest.raises(LedgerError) as refusal:
        worked.table()
    assert str(refusal.value) == (
        "variables.wall.unit: found µm for settings that cones 1 and 2 have in mm, expected mm. "
        "Put it back; or, if those numbers were in µm all along, run `coneloop recompute --keep "
        "wall`; `coneloop recompute` alone converts them."
    )
    assert "variables.wall.unit" in [one.where for one in worked.check()]


def test_recomputing_converts_and_can_be_undone(worked, dump):
    edit(worked, MICRONS)
    before = dump(worked)
    shown = recompute(worked, only_show=True)
    assert shown.attrs["notes"] == ["wall of cones 1 and 2: converted from mm to µm"]
    assert dump(worked) == before
    recompute(worked)
    assert walls(worked) == [400.0, 600.0, 0.4]  # the one set aside is left as it is
    worked.table()
    acts = len(worked.history())
    recompute(worked)
    assert len(worked.history()) == acts
    worked.undo()
    assert dump(worked) == before
    with pytest.raises(LedgerError, match="have in mm"):
        worked.table()


def test_numbers_that_were_in_the_new_unit_all_along_are_kept(worked):
    edit(worked, {'unit = "mm"': 'unit = "µm"'})
    recompute(worked, keep=["wall"])
    assert walls(worked)[:2] == [0.4, 0.6]
    worked.table()
    worked.undo()
    with pytest.raises(LedgerError, match="have in mm"):
        worked.table()


def test_cones_of_the_new_plan_are_told_from_those_of_the_old(worked, resin):
    edit(worked, MICRONS)
    worked.add({**resin, "wall": 500})
    with worked.snapshot() as connection:
        (one,) = unit_changes(connection, worked.plan)
    assert one.cones == [1, 2]
    recompute(worked)
    assert walls(worked) == [400.0, 600.0, 0.4, 500.0]


def test_units_that_do_not_convert_can_only_be_put_back_or_kept(worked):
    edit(worked, {'unit = "min"': 'unit = "J"'})
    with pytest.raises(LedgerError, match="if those numbers stand as they are, run"):
        recompute(worked)
    recompute(worked, keep=["cure_time"])
    worked.table()


def test_a_unit_for_numbers_that_had_none_is_a_label(worked):
    edit(worked, {'kind = "integer"\nlow = 0': 'kind = "integer"\nunit = "pieces"\nlow = 0'})
    worked.table()


def test_a_renamed_variable_keeps_its_unit(worked):
    edit(worked, {**MICRONS, "[variables.wall]": '[variables.thickness]\nwas = "wall"'})
    recompute(worked)
    assert worked.table()["thickness"].tolist()[:2] == [400.0, 600.0]
