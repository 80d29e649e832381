"""Climate, print time and reason in the sheet, and sheets from before they had columns."""

from __future__ import annotations

import pytest

from experiments.exchange import apply, export_csv, preview_csv
from tests.experiments.exchange.conftest import texts


def test_temperature_and_humidity_come_and_go_with_the_sheet(full, sheet, dump, tmp_path):
    before = dump(full)
    sheet.rows[2].update(temperature_c="70", humidity_percent="40.5")
    row = {**sheet.rows[0], "cone": "", "status": "measured", "measurement": "", "version": ""}
    sheet.rows.append({**row, "upper_limit": "8", "temperature_c": "-4", "humidity_percent": "0"})
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    assert {(one.row, one.column): one.after for one in preview.changes}.items() >= {
        ((4, "temperature_c"), 70.0),
        ((4, "humidity_percent"), 40.5),
        ((8, "temperature_c"), -4.0),
        ((8, "humidity_percent"), 0.0),
    }
    notes = " ".join(preview.notes)
    assert "temperature 70 °C" in notes
    assert "humidity 0 %" in notes
    apply(full, preview)
    (first, _), (fresh,) = full.measurements(3), full.measurements(6)
    assert (first.temperature_c, first.humidity_percent) == (70.0, 40.5)
    assert (fresh.temperature_c, fresh.humidity_percent) == (-4.0, 0.0)
    again = export_csv(full, tmp_path / "again.csv", decimal=",")
    assert preview_csv(full, again).changes == ()
    full.undo()
    assert dump(full) == before


def test_an_older_sheet_without_the_columns_leaves_them(full, sheet):
    full.measure(3, session="warm", values={"upper_limit": 9.0}, temperature_c=30)
    path = export_csv(full, sheet.path, force=True)
    older = type(sheet)(path)
    older.columns = [one for one in older.columns if one != "temperature_c"]
    for row in older.rows:
        del row["temperature_c"]
    older.rows[3]["humidity_percent"] = "55"
    preview = preview_csv(full, older.save())
    assert [(one.column, one.after) for one in preview.changes] == [("humidity_percent", 55.0)]


@pytest.mark.parametrize(
    ("column", "text"), [("temperature_c", "300"), ("humidity_percent", "-1")]
)
def test_a_climate_that_cannot_be_is_refused(full, sheet, column, text):
    sheet.rows[2][column] = "300"
    (problem,) = preview_csv(full, sheet.save()).problems
    assert problem.where == f"row 4, column {column}"


def test_print_time_and_reason_are_corrected_like_other_cells(full, sheet, dump):
    before = dump(full)
    assert [row["why"] for row in sheet.rows] == ["", "warped", "", "", "", "lent"]
    sheet.rows[1]["why"] = "warped at the rim"
    for row in sheet.rows[2:4]:
        row["print_minutes"] = "74.5"
    sheet.rows[5]["why"] = "lent to the neighbour"
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    assert [(one.cone, one.column, one.before, one.after) for one in preview.changes] == [
        (2, "why", "warped", "warped at the rim"),
        (3, "print_minutes", None, 74.5),
        (5, "why", "lent", "lent to the neighbour"),
    ]
    apply(full, preview)
    assert full.cone(2).why == "warped at the rim"
    assert full.cone(3).minutes == 74.5
    assert full.cone(5).why == "lent to the neighbour"
    assert preview_csv(full, export_csv(full, sheet.path, force=True)).changes == ()
    full.undo()
    assert dump(full) == before


def test_a_reason_may_come_with_the_state_and_goes_with_it(full, sheet):
    sheet.rows[0].update(status="failed", why="tore", note="thin")
    sheet.rows[4].update(status="set aside", why="cracked")
    sheet.rows[5].update(status="printed", why="")
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    assert "cone 5, why: lent → nothing" in [str(change) for change in preview.changes]
    apply(full, preview)
    assert [full.cone(number).why for number in (1, 4, 5)] == ["tore", "cracked", ""]
    assert full.cone(1).note == "thin"


def test_a_sheet_from_before_print_time_and_reason_had_columns(full, sheet):
    for name in ("print_minutes", "why", sheet.columns[-1]):
        sheet.columns.remove(name)
        for row in sheet.rows:
            del row[name]
    sheet.rows[0].update(status="failed", note="tore")
    preview = preview_csv(full, sheet.save())
    assert preview.problems == ()
    apply(full, preview)
    assert full.cone(1).why == "tore"
    assert full.cone(2).why == "warped"


def test_new_cones_bring_print_time_and_reason(ledger, tmp_path):
    path = tmp_path / "new.csv"
    path.write_text(
        "process,wall,ribs,status,print_minutes,why\n"
        "filament,0.4,1,,74.5,\nfilament,0.6,1,failed,12,too hot\n"
    )
    apply(ledger, preview_csv(ledger, path))
    first, second = ledger.cones()
    assert (first.minutes, second.minutes, second.why) == (74.5, 12.0, "too hot")
    path.write_text("process,wall,ribs,status,print_minutes,why\nfilament,0.4,1,planned,3,no\n")
    assert "as it is planned" in texts(preview_csv(ledger, path).problems)
    assert "or the status failed or set aside" in texts(preview_csv(ledger, path).problems)
