"""Editing one cone: what was typed is taken, what others changed meanwhile is kept."""

from __future__ import annotations

import pytest

from experiments.errors import ExchangeError
from experiments.exchange import EditConflict, cone_sheet, edit_cone
from experiments.ledger import Ledger
from tests.bench_page import PLAN

WEIGHED = PLAN + '\n[metrics.mass]\nfrom = "hand"\nunit = "g"\ngoal = "watch"\n'


@pytest.fixture
def ledger(tmp_path):
    with Ledger.create(tmp_path / "t", WEIGHED) as made:
        made.add({"process": "resin", "wall": 0.5, "cure_time": 10}, mass=2.5, note="first")
        made.add({"process": "filament", "wall": 0.7})
        made.measure(2, session="monday", values={"loss": 2.0}, note="cold room")
        yield made


def edited(ledger, cone, version=None, **cells):
    sheet = cone_sheet(ledger, cone)
    rows = [{"measurement": row["measurement"], **cells} for row in sheet.rows]
    return edit_cone(ledger, cone, version or sheet.version, rows)


def test_the_sheet_of_a_cone_taken_in_unchanged_changes_nothing(ledger):
    for cone in (1, 2):
        sheet = cone_sheet(ledger, cone)
        assert edit_cone(ledger, cone, sheet.version, sheet.rows) == ""
    assert cone_sheet(ledger, 1).rows[0]["mass"] == "2.5"
    assert len(ledger.history()) == 4


def test_cells_of_the_cone_and_of_its_measurement_are_taken_as_one_act(ledger):
    text = edited(ledger, 2, wall="0,8", note="warm room", loss="1,5", plate="3")
    assert text == "edit of cone 2: 4 changed cells"
    assert ledger.cone(2).settings == {"process": "filament", "wall": 0.8}
    (measured,) = ledger.measurements(2)
    assert (measured.values["loss"], measured.note) == (1.5, "warm room")
    assert ledger.undo() == "undid: edit of cone 2: 4 changed cells"
    assert ledger.cone(2).settings["wall"] == 0.7


def test_a_recipe_may_change_its_process_at_once(ledger):
    edited(ledger, 1, process="filament", cure_time="")
    assert ledger.cone(1).settings == {"process": "filament", "wall": 0.5}


@pytest.mark.parametrize(
    ("cells", "where"),
    [
        ({"wall": "thick"}, "row 0, column wall"),
        ({"wall": "55"}, "row 0"),
        ({"plate": "0"}, "row 0, column plate"),
        ({"process": "wood"}, "row 0"),
    ],
)
def test_what_cannot_be_taken_names_its_cell_and_changes_nothing(ledger, cells, where):
    with pytest.raises(ExchangeError) as caught:
        edited(ledger, 1, note="changed", **cells)
    assert any(str(one.where).startswith(where) for one in caught.value.problems)
    assert ledger.cone(1).note == "first"


def test_changes_of_others_to_other_cells_are_kept(ledger):
    opened = cone_sheet(ledger, 1)
    edited(ledger, 1, wall="0.6")
    rows = [{**opened.rows[0], "note": "second"}]
    assert edit_cone(ledger, 1, opened.version, rows) == "edit of cone 1: 1 changed cell"
    assert ledger.cone(1).settings["wall"] == 0.6
    assert ledger.cone(1).note == "second"


def test_a_cell_that_both_changed_is_given_back_with_both_values(ledger):
    opened = cone_sheet(ledger, 1)
    edited(ledger, 1, wall="0.6", note="theirs")
    rows = [{**opened.rows[0], "wall": "0.9", "plate": "2"}]
    with pytest.raises(EditConflict) as caught:
        edit_cone(ledger, 1, opened.version, rows)
    conflict = caught.value
    assert conflict.now == {(0, "wall"): "0.6"}
    assert conflict.sheet.rows[0] | {"wall": "0.9", "plate": "2"} == conflict.sheet.rows[0]
    assert conflict.sheet.rows[0]["note"] == "theirs"
    assert ledger.cone(1).settings["wall"] == 0.6
    edit_cone(ledger, 1, conflict.sheet.version, conflict.sheet.rows)
    assert (ledger.cone(1).settings["wall"], ledger.cone(1).plate) == (0.9, 2)
    assert ledger.cone(1).note == "theirs"


def test_a_form_opened_before_the_cone_was_measured_still_speaks_of_the_cone(ledger):
    opened = cone_sheet(ledger, 1)
    ledger.measure(1, session="monday", values={"loss": 3.0})
    edit_cone(ledger, 1, opened.version, [{**opened.rows[0], "wall": "0.6"}])
    assert ledger.cone(1).settings["wall"] == 0.6
    assert ledger.measurements(1)[0].values["loss"] == 3.0
