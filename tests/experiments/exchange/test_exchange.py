"""Out to a spreadsheet, edited, back in: previews, refusals, one act, one undo."""

from __future__ import annotations

import pytest

from experiments.errors import ExchangeError, LedgerError
from experiments.exchange import apply, export_csv, preview_csv
from experiments.ledger import Ledger
from experiments.outputs import is_mark
from tests.experiments.exchange.conftest import texts


def test_the_sheet_has_one_row_a_measurement(full, sheet):
    assert is_mark(sheet.columns[-1])
    assert sheet.columns[:-1] == [
        *("cone", "status", "plate", "session"),
        *("age_days", "light_hours", "temperature_c", "humidity_percent"),
        *("process", "cure_time", "wall", "ribs"),
        *("upper_limit", "thd_peak", "mass"),
        *("print_minutes", "why", "note", "measurement", "version"),
    ]
    assert [row["cone"] for row in sheet.rows] == ["1", "2", "3", "3", "4", "5"]
    assert [row["mass"] for row in sheet.rows] == ["", "", "2.25", "2.25", "1.5", ""]
    assert sheet.rows[1]["note"] == "'-lifted at one side"
    assert sheet.rows[2]["note"] == ""
    assert sheet.rows[3]["note"] == "'@dusk"
    assert sheet.rows[2]["upper_limit"] == "0.333333"
    assert sheet.rows[1]["cure_time"] == ""


@pytest.mark.parametrize("delimiter", [",", ";", None])
@pytest.mark.parametrize("decimal", [".", ","])
def test_a_sheet_that_nobody_touched_changes_nothing(full, tmp_path, delimiter, decimal, dump):
    path = export_csv(full, tmp_path / "t.csv", delimiter=delimiter, decimal=decimal)
    before = dump(full)
    preview = preview_csv(full, path)
    assert preview.changes == ()
    assert preview.problems == ()
    assert preview.headline == "no changes"
    assert apply(full, preview) == "t.csv: nothing to change"
    assert dump(full) == before


def test_odd_separators_are_refused(full, tmp_path):
    for wrong in ({"delimiter": "|"}, {"decimal": "'"}):
        with pytest.raises(ExchangeError, match="delimiter"):
            export_csv(full, tmp_path / "t.csv", **wrong)


def test_an_empty_table_goes_out_and_comes_in(ledger, tmp_path):
    path = export_csv(ledger, tmp_path / "t.csv")
    assert path.read_text().count("\n") == 1
    assert preview_csv(ledger, path).changes == ()


def test_every_edit_is_shown_and_applied_as_one_act(full, sheet, dump):
    before, acts = dump(full), len(full.history())
    sheet.rows[0].update(status="printed", wall="0.5", cure_time="12.5", note="=new", plate="7")
    sheet.rows[2].update(upper_limit="8.25", session="tuesday", thd_peak="2")
    sheet.rows[3].update(age_days="", light_hours="3", note="")
    sheet.rows[4].update(mass="1.75", note="kept dry")
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    shown = {(one.row, one.cone, one.column): (one.before, one.after) for one in preview.changes}
    assert shown == {
        (2, 1, "status"): ("planned", "printed"),
        (2, 1, "wall"): (0.4, 0.5),
        (2, 1, "cure_time"): (12.0, 12.5),
        (2, 1, "note"): (None, "=new"),
        (2, 1, "plate"): (1, 7),
        (4, 3, "upper_limit"): (1 / 3, 8.25),
        (4, 3, "session"): ("monday", "tuesday"),
        (4, 3, "thd_peak"): (None, 2.0),
        (5, 3, "age_days"): (30.0, None),
        (5, 3, "light_hours"): (None, 3.0),
        (5, 3, "note"): ("@dusk", None),
        (6, 4, "mass"): (1.5, 1.75),
        (6, 4, "note"): (None, "kept dry"),
    }
    hands = {(one.row, one.column) for one in preview.changes if one.by_hand}
    assert hands == {(4, "upper_limit"), (4, "thd_peak")}
    assert dump(full) == before  # a preview changes nothing
    assert apply(full, preview) == "import of table.csv: 13 changed cells"
    assert len(full.history()) == acts + 1
    assert full.cone(1).settings["cure_time"] == 12.5
    assert (full.cone(1).status, full.cone(1).plate, full.cone(1).note) == ("printed", 7, "=new")
    assert (full.cone(4).mass, full.cone(4).note) == (1.75, "kept dry")
    first, second = full.measurements(3)
    assert first.session == "tuesday"
    assert first.values == {"upper_limit": 8.25, "thd_peak": 2.0}
    assert first.by_hand == {"upper_limit", "thd_peak"}
    assert (second.age_days, second.light_hours, second.note) == (None, 3.0, "")
    assert full.undo() == "undid: import of table.csv: 13 changed cells"
    assert dump(full) == before


def test_changes_read_as_sentences(full, sheet):
    sheet.rows[2]["upper_limit"] = "8.25"
    (change,) = preview_csv(full, sheet.save()).changes
    assert str(change) == (
        "cone 3, upper_limit: 0.333333 → 8.25 (entered by hand, in place of what the curves gave)"
    )


def test_columns_may_move_go_and_come(full, sheet, dump):
    before = dump(full)
    sheet.columns = ["note", "colour", "version", "measurement", "cone", "upper_limit"]
    for row in sheet.rows:
        for gone in set(row) - set(sheet.columns):
            del row[gone]
        row["colour"] = "blue"
    preview = preview_csv(full, sheet.save())
    assert preview.changes == ()
    assert preview.problems == ()
    assert preview.notes[:2] == (
        "column 'colour' is unknown and passed over. If it is a missing one under another name, "
        "put that name back.",
        "not in the sheet, so unchanged: process, cure_time, wall, ribs, thd_peak, mass",
    )
    assert dump(full) == before


def test_headings_may_carry_units_and_other_letters(full, tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("Cone;Wall (mm);Cure Time [min];Version\n1;0,5;13;2\n")
    preview = preview_csv(full, path)
    assert preview.problems == ()
    assert [(one.column, one.after) for one in preview.changes] == [
        ("cure_time", 13.0),
        ("wall", 0.5),
    ]
    assert "decimal commas" in " ".join(preview.notes)


def test_what_the_spreadsheet_rounded_is_no_edit(full, sheet):
    sheet.rows[2]["upper_limit"] = "0.333333"
    assert preview_csv(full, sheet.save()).changes == ()
    sheet.rows[2]["upper_limit"] = "0.33"
    preview = preview_csv(full, sheet.save())
    assert preview.changes == ()
    assert "upper_limit: rounded in row 4, so what is stored stands" in preview.notes
    for text in ("0.34", "0.3"):  # another number; too short to be told from one
        sheet.rows[2]["upper_limit"] = text
        assert len(preview_csv(full, sheet.save()).changes) == 1


def test_every_bad_cell_is_named_at_once(full, sheet, dump):
    before = dump(full)
    sheet.rows[0].update(cone="one", plate="1.5")
    sheet.rows[1].update(status="broken", wall="thick")
    sheet.rows[2].update(age_days="-3", upper_limit="1e999")
    sheet.rows[3].update(upper_limit="high", version="x")
    sheet.rows[4].update(process="clay", mass="heavy")
    preview = preview_csv(full, sheet.save())
    assert {problem.where for problem in preview.problems} >= {
        "row 2, column cone",
        "row 2, column plate",
        "row 3, column status",
        "row 3, column wall",
        "row 4, column age_days",
        "row 4, column upper_limit",
        "row 5, column upper_limit",
        "row 5, column version",
        "row 6, column mass",
    }
    assert "clay" in texts(preview.problems)
    with pytest.raises(ExchangeError) as refusal:
        apply(full, preview)
    assert len(refusal.value.problems) == len(preview.problems)
    assert dump(full) == before


NEW = """process,cure_time,wall,ribs,upper_limit,mass,session,age_days,note,cone,status
resin,12,0.4,3,9.5,2.5,old days,400,first try,,
filament,,0.6,0,,1.5,,,only weighed,,
filament,,0.6,1,,,,,came off the bed,,failed
resin,12,0.4,3,7.5,,,,,,set aside
resin,11,0.4,3,,,,,,,planned
resin,10,0.43,3,8.5,,,,,20,
resin,10,0.43,3,8.25,,later,,,20,measured
"""


def test_an_old_table_becomes_cones(ledger, tmp_path, dump):
    before = dump(ledger)
    path = tmp_path / "old.csv"
    path.write_text(NEW)
    preview = preview_csv(ledger, path)
    assert preview.problems == ()
    assert (preview.new_cones, preview.new_measurements) == (6, 4)
    assert apply(ledger, preview).startswith("import of old.csv: 6 new cones, 4 new measurements")
    states = {cone.number: cone.status for cone in ledger.cones()}
    assert states == {
        20: "measured",
        21: "measured",
        22: "printed",
        23: "failed",
        24: "set aside",
        25: "planned",
    }
    assert ledger.cone(23).why == "came off the bed"
    assert ledger.cone(22).mass == 1.5
    assert {cone.origin for cone in ledger.cones()} == {"imported"}
    assert ledger.cone(21).settings == {
        "process": "resin",
        "cure_time": 12,
        "wall": 0.4,
        "ribs": 3,
    }
    (first,) = ledger.measurements(21)
    assert first.values == {"upper_limit": 9.5, "mass": 2.5}
    assert first.by_hand == {"upper_limit", "mass"}
    assert (first.session, first.age_days, first.note) == ("old days", 400.0, "first try")
    assert [one.session for one in ledger.measurements(20)] == ["imported", "later"]
    ledger.undo()
    assert dump(ledger) == before


def test_the_same_file_is_not_taken_in_twice(ledger, tmp_path):
    path = tmp_path / "old.csv"
    path.write_text(NEW)
    apply(ledger, preview_csv(ledger, path))
    preview = preview_csv(ledger, path)
    assert "taken in already" in texts(preview.problems)
    ledger.undo()
    assert preview_csv(ledger, path).problems == ()


def test_a_new_measurement_of_a_known_cone(full, sheet):
    row = dict(sheet.rows[4])
    row.update(session="friday", upper_limit="7.5", measurement="")
    sheet.rows[4] = row
    sheet.rows.append({**sheet.rows[2], "session": "friday", "measurement": "", "mass": "2.2"})
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    assert preview.new_measurements == 2
    apply(full, preview)
    (fresh,) = full.measurements(4)
    assert fresh.values == {"upper_limit": 7.5}
    assert full.cone(4).status == "measured"
    assert full.cone(4).mass == 1.5
    assert full.measurements(3)[-1].values == {"upper_limit": 0.333333, "mass": 2.2}


def test_planned_to_measured_in_one_go(full, sheet):
    sheet.rows[0].update(status="measured", upper_limit="9", session="x")
    apply(full, preview_csv(full, sheet.save()))
    assert full.cone(1).status == "measured"
    assert full.cone(1).printed_at is not None


@pytest.mark.parametrize(
    ("row", "edit", "words"),
    [
        (0, {"status": "measured"}, "row 2, column status: found measured"),
        (1, {"status": "printed"}, "row 3, column status: found printed"),
        (2, {"status": "printed"}, "must agree"),
        (0, {"status": ""}, "row 2, column status: found nothing"),
        (0, {"upper_limit": "9"}, "measured, since metrics are given"),
        (1, {"upper_limit": "9"}, "measured, since metrics are given"),
        (0, {"session": "x"}, "a metric in this row"),
        (2, {"session": ""}, "the name of the session"),
        (2, {"measurement": "77"}, "a measurement of cone 3"),
        (3, {"measurement": "1"}, "each measurement once"),
        (4, {"measurement": "1"}, "a measurement of cone 4"),
        (3, {"wall": "0.5"}, "must agree"),
        (0, {"wall": "0.45"}, "row 2, wall"),
        (0, {"process": "filament"}, "cure_time"),
        (0, {"ribs": ""}, "ribs"),
        (2, {"mass": ""}, "the same in all rows of the cone"),
        (0, {"cone": "99"}, "its cone is no more"),
        (0, {"cone": ""}, "row 2, column cone: found nothing, expected the number of its cone"),
        (0, {"print_minutes": "9"}, "a blank cell, as it is planned"),
        (0, {"why": "tore"}, "a blank cell, or the status failed or set aside"),
        (1, {"why": ""}, "why it is failed"),
        (4, {"print_minutes": "-1"}, "0 or more"),
        (5, {"status": "failed"}, "row 7, column status"),
    ],
)
def test_what_cannot_be_is_refused_where_it_stands(full, sheet, row, edit, words):
    sheet.rows[row].update(edit)
    preview = preview_csv(full, sheet.save())
    assert words in texts(preview.problems)


def test_states_may_be_edited_as_the_acts_allow(full, sheet, dump):
    before = dump(full)
    sheet.rows[0].update(status="failed", note="tore")
    sheet.rows[2].update(status="Set  aside")
    sheet.rows[3].update(status="set aside")
    sheet.rows[5].update(status="printed")
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    apply(full, preview)
    assert [cone.status for cone in full.cones()] == [
        *("failed", "failed", "set aside", "printed", "printed")
    ]
    assert full.cone(1).why == "tore"
    assert full.cone(5).why == ""
    full.undo()
    assert dump(full) == before


def test_blank_clears_and_the_recipe_may_change_its_branch(full, sheet):
    sheet.rows[0].update(process="filament", cure_time="", plate="")
    for row in sheet.rows[2:4]:
        row["mass"] = ""
    sheet.rows[2]["upper_limit"] = ""
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    apply(full, preview)
    assert full.cone(1).settings == {"process": "filament", "wall": 0.4, "ribs": 3}
    assert full.cone(1).plate is None
    assert full.cone(3).mass is None
    assert full.measurements(3)[0].values["upper_limit"] is None
    path = export_csv(full, sheet.path, force=True)
    assert preview_csv(full, path).changes == ()


def test_rows_match_without_the_measurement_column(full, sheet):
    sheet.columns = ["cone", "session", "upper_limit"]
    sheet.rows = [{"cone": "3", "session": "größer", "upper_limit": "5"}]
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    (change,) = preview.changes
    assert (change.before, change.after) == (9.5, 5.0)
    sheet.columns = ["cone", "upper_limit"]
    sheet.rows = [{"cone": "3", "upper_limit": "5"}]
    assert "measured more than once" in texts(preview_csv(full, sheet.save()).problems)
    sheet.columns = ["cone", "ribs"]
    sheet.rows = [{"cone": "3", "ribs": "5"}]
    apply(full, preview_csv(full, sheet.save()))
    assert full.cone(3).settings["ribs"] == 5


def test_rows_that_are_longer_than_the_header_are_refused(full, tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("cone,wall,upper_limit\n4,0,6,9,5\n")
    (problem,) = preview_csv(full, path).problems
    assert problem.where == "row 2"
    assert "decimal comma" in problem.remedy


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("a,b\n1,2\n", "column names such as"),
        ("cone,wall,Wall\n1,2,3\n", "the column wall twice"),
        ("wall,version\n0.5,2\n", "t.csv, row 1: found no column cone"),
    ],
)
def test_a_header_that_cannot_be_used_is_refused(full, tmp_path, text, words):
    path = tmp_path / "t.csv"
    path.write_text(text)
    with pytest.raises(ExchangeError, match=words):
        preview_csv(full, path)


def test_two_decimal_marks_in_one_sheet_are_refused(full, tmp_path):
    path = tmp_path / "t.csv"
    path.write_text("cone;wall;mass\n4;0,6;1,5\n5;0.7;\n")
    (problem,) = preview_csv(full, path).problems
    assert problem.where == "row 3, column wall"
    assert "decimal comma" in problem.expected


def test_an_export_by_one_and_an_import_by_another(full, sheet):
    sheet.rows[4]["mass"] = "1.75"
    with Ledger.open(full.folder, who="helper") as other:
        apply(other, preview_csv(other, sheet.save()))
    newest = full.history(1).iloc[0]
    assert (newest["who"], newest["act"]) == ("helper", "import")
    assert newest["arguments"]["changes"] == [[6, 4, "mass", 1.5, 1.75, False]]


def test_a_mass_of_zero_or_less_is_refused_before_anything_is_written(full, sheet, dump):
    before = dump(full)
    sheet.rows[4]["mass"] = "0"
    preview = preview_csv(full, sheet.save())
    with pytest.raises((ExchangeError, LedgerError), match="mass"):
        apply(full, preview)
    assert preview.problems
    assert dump(full) == before


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("planned,9.5,,", "measured, since metrics are given"),
        ("failed,9.5,,", "measured, since metrics are given"),
        ("measured,,,", "printed, since no metric is given"),
        (",,monday,", "a metric in this row"),
        (",,,4.5", "a whole number"),
    ],
)
def test_new_rows_that_contradict_themselves_are_refused(ledger, tmp_path, row, words):
    path = tmp_path / "new.csv"
    path.write_text(f"process,wall,ribs,status,upper_limit,session,plate\nfilament,0.4,1,{row}\n")
    assert words in texts(preview_csv(ledger, path).problems)


def test_a_new_row_may_name_its_plate_and_a_new_measurement_its_note(full, sheet):
    sheet.rows[4].update(upper_limit="7", note="after the party", session="x")
    new = dict.fromkeys(sheet.columns, "")
    sheet.rows.append({**new, "process": "filament", "wall": "0.4", "ribs": "1", "plate": "9"})
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    assert "a new cone, plate: nothing → 9" in [str(change) for change in preview.changes]
    apply(full, preview)
    assert full.measurements(4)[0].note == "after the party"
    assert full.cone(6).plate == 9


def test_undoing_an_import_frees_the_numbers_that_were_typed_not_those_that_were_given(
    full, tmp_path, resin
):
    path = tmp_path / "new.csv"
    path.write_text("process,wall,ribs,cone\nfilament,0.4,1,50\nfilament,0.4,2,\n")
    apply(full, preview_csv(full, path))
    assert [cone.number for cone in full.cones()][-2:] == [50, 51]
    full.undo()
    assert full.add(resin) == 52
    path.write_text("process,wall,ribs,cone\nfilament,0.4,1,500\n")
    apply(full, preview_csv(full, path))
    full.undo()
    assert full.add(resin) == 53


def test_a_heading_that_was_misspelt_is_named_with_what_was_meant(full, sheet, dump):
    before = dump(full)
    sheet.columns = ["wal" if name == "wall" else name for name in sheet.columns]
    for row in sheet.rows:
        del row["wall"]
        row["wal"] = "0.7"
    preview = preview_csv(full, sheet.save())
    assert (preview.changes, preview.problems) == ((), ())
    assert preview.notes == (
        "column 'wal' is unknown and passed over. Did you mean 'wall'?",
        "not in the sheet, so unchanged: wall",
    )
    assert dump(full) == before


def test_rows_that_were_deleted_take_no_cone_along(full, sheet, dump):
    before = dump(full)
    sheet.rows = [row for row in sheet.rows if row["cone"] not in ("1", "5")][:2]
    preview = preview_csv(full, sheet.save())
    assert (preview.changes, preview.problems) == ((), ())
    unchanged, measurements = preview.notes
    assert unchanged.startswith("without a row in the sheet, so unchanged: cones 1, 4 and 5. ")
    assert "never removes a cone; one that is set aside" in unchanged
    assert measurements == "measurements without a row in the sheet, so unchanged: of cone 3"
    assert dump(full) == before


def test_a_sheet_of_new_cones_says_nothing_of_the_old_ones(full, tmp_path):
    path = tmp_path / "new.csv"
    path.write_text("process,wall,ribs\nfilament,0.4,1\n")
    assert preview_csv(full, path).notes == ()


def test_a_new_session_of_nearly_a_known_name_is_noted(full, sheet):
    sheet.rows[4].update(session="Monday", upper_limit="7", status="measured")
    notes = preview_csv(full, sheet.save()).notes
    assert "session 'Monday' is new; there is a session 'monday'" in " ".join(notes)
