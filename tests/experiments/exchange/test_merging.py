"""A sheet that is older than the table: what is put together, and what is a conflict."""

from __future__ import annotations

import pytest

from experiments.errors import ExchangeError
from experiments.exchange import apply, export_csv, preview_csv


def test_a_conflict_with_a_later_change_is_refused(full, sheet, dump):
    sheet.rows[0]["wall"] = "0.5"
    full.printed(1, mass=3.0, changes={"wall": 0.6})
    before = dump(full)
    preview = preview_csv(full, sheet.save())
    (problem,) = preview.problems
    assert str(problem) == (
        "row 2, column wall: found 0.5, expected 0.4 as exported, or 0.6 as it is now: "
        "cone 1 was changed after the export. Export the table again and repeat the edit."
    )
    with pytest.raises(ExchangeError, match="changed after the export"):
        apply(full, preview)
    assert dump(full) == before


def test_a_later_change_to_another_cone_is_no_conflict(full, sheet):
    sheet.rows[0]["wall"] = "0.5"
    full.failed(4, why="dropped")
    full.measure(3, session="later", values={"upper_limit": 5.0})
    full.add({"process": "filament", "wall": 0.4, "ribs": 1})
    preview = preview_csv(full, sheet.save())
    # Cones 3 and 4 stand in the sheet as they were, but nobody edited them there.
    assert preview.problems == ()
    assert [(one.cone, one.column) for one in preview.changes] == [(1, "wall")]
    notes = " ".join(preview.notes)
    assert "cone 4 was changed after the export, not in the sheet: left alone" in notes
    apply(full, preview)
    assert full.cone(1).settings["wall"] == 0.5
    assert full.cone(4).status == "failed"


def test_a_row_edited_on_both_sides_is_a_conflict_even_when_undone_acts_lie_between(full, sheet):
    full.note("one more")
    full.undo()
    full.failed(4, why="dropped", note="on the floor")
    sheet.rows[4]["note"] = "kept dry"
    preview = preview_csv(full, sheet.save())
    (problem,) = preview.problems
    assert problem.where == "row 6, column note"
    assert "cone 4 was changed after the export" in problem.expected


def test_what_was_edited_elsewhere_and_in_the_sheet_is_put_together(full, sheet):
    sheet.rows[0]["wall"] = "0.5"
    full.printed(1, mass=3.0)
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    assert [str(one) for one in preview.changes] == ["cone 1, wall: 0.4 → 0.5"]
    assert "only what was edited in the sheet is taken" in " ".join(preview.notes)
    apply(full, preview)
    cone = full.cone(1)
    assert (cone.status, cone.mass, cone.settings["wall"]) == ("printed", 3.0, 0.5)


def test_the_open_sheet_may_be_taken_in_again_and_again(full, sheet, dump):
    sheet.rows[0].update(status="printed", print_minutes="60", note="glossy")
    sheet.rows[2].update(upper_limit="8.25", session="tuesday")
    row = sheet.rows[4]
    row.update(status="measured", upper_limit="7", mass="1.75")
    sheet.rows.append({**sheet.rows[3], "measurement": "", "session": "friday", "thd_peak": "2"})
    apply(full, preview_csv(full, sheet.save()))
    state = dump(full)
    assert len(full.measurements(4)) == 1
    preview = preview_csv(full, sheet.path)
    assert (preview.changes, preview.problems) == ((), ())
    sheet.rows[0]["wall"] = "0.5"
    sheet.rows[2]["thd_peak"] = "3"
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    assert [(one.cone, one.column, one.after) for one in preview.changes] == [
        (1, "wall", 0.5),
        (3, "thd_peak", 3.0),
    ]
    full.undo()
    assert dump(full) != state


def test_a_measurement_that_was_taken_in_and_edited_again_is_not_doubled(full, sheet):
    sheet.rows[4].update(status="measured", upper_limit="7")
    apply(full, preview_csv(full, sheet.save()))
    sheet.rows[4]["upper_limit"] = "7.5"
    preview = preview_csv(full, sheet.save())
    assert preview.new_measurements == 0
    (problem,) = preview.problems
    assert problem.where == "row 6, column upper_limit"
    assert "Export the table again" in problem.remedy


def test_rows_of_two_exports_are_each_compared_with_their_own(full, sheet):
    old = dict(sheet.rows[4])
    sheet.rows[4]["wall"] = "0.7"
    apply(full, preview_csv(full, sheet.save()))
    full.failed(1, why="tore")
    new = type(sheet)(export_csv(full, sheet.path, force=True))
    new.rows[4] = {name: text for name, text in old.items() if name in new.columns}
    preview = preview_csv(full, new.save())
    assert (preview.changes, preview.problems) == ((), ())
    assert full.cone(4).settings["wall"] == 0.7


@pytest.mark.parametrize("version", ["1", "999"])
def test_a_version_that_a_cone_never_had_is_refused_with_an_edit(full, sheet, version):
    sheet.rows[4].update(version=version, wall="0.7")
    (problem,) = preview_csv(full, sheet.save()).problems
    assert "as it is now: cone 4 was changed after the export" in problem.expected


def test_looking_back_changes_nothing(full, sheet, dump):
    before, acts = dump(full), full.history()
    back = full.wide_table_at(int(acts["id"].iloc[2]))
    assert len(back) < len(full.wide_table())
    assert len(full.wide_table_at(1)) == 0
    assert full.wide_table_at(int(acts["id"].iloc[0])).equals(full.wide_table())
    assert dump(full) == before
    assert len(full.history()) == len(acts)


def test_an_undone_change_is_no_conflict(full, sheet):
    sheet.rows[0]["wall"] = "0.5"
    full.printed(1)
    full.undo()
    assert preview_csv(full, sheet.save()).problems == ()


def test_a_change_between_preview_and_apply_is_refused(full, sheet, dump, plan_text):
    sheet.rows[0]["wall"] = "0.5"
    preview = preview_csv(full, sheet.save())
    full.printed(1)
    before = dump(full)
    with pytest.raises(ExchangeError, match="cone 1 changed since"):
        apply(full, preview)
    full.undo()
    (full.folder / "experiment.toml").write_text(plan_text.replace("high = 8", "high = 9"))
    with pytest.raises(ExchangeError, match="another plan"):
        apply(full, preview)
    (full.folder / "experiment.toml").write_text(plan_text)
    apply(full, preview)
    assert dump(full) != before


def test_without_versions_a_note_says_what_is_lost(full, sheet):
    sheet.columns.remove("version")
    for row in sheet.rows:
        del row["version"]
    sheet.rows[0]["wall"] = "0.5"
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    assert "cone 1: no version" in " ".join(preview.notes)
