"""Workbooks: the same round trip as CSV, and everything that a spreadsheet may have spoilt."""

from __future__ import annotations

import io
import re
import zipfile
from datetime import date, datetime, time, timedelta

import pytest
from openpyxl import Workbook, load_workbook

from experiments.errors import ExchangeError, OutputError
from experiments.exchange import apply, export_csv, export_table, preview_csv, workbook
from experiments.exchange.workbook import MOST_COLUMNS, MOST_ROWS


class Book:
    """A workbook that a test edits as a person would."""

    def __init__(self, path):
        self.path = path
        self.book = load_workbook(path)
        self.sheet = self.book.active
        self.columns = {cell.value: cell.column for cell in self.sheet[1]}

    def __getitem__(self, place):
        row, name = place
        return self.sheet.cell(row, self.columns[name])

    def set(self, row, name, value, form=None):
        cell = self[row, name]
        cell.value = value
        if form:
            cell.number_format = form
        return self

    def save(self):
        self.book.save(self.path)
        return self.path


@pytest.fixture
def book(full, tmp_path):
    return Book(export_table(full, tmp_path / "table.xlsx"))


def test_taken_in_again_a_workbook_changes_nothing(full, tmp_path, dump):
    before = dump(full)
    preview = preview_csv(full, export_table(full, tmp_path / "table.xlsx"))
    assert (preview.changes, preview.problems) == ((), ())
    assert dump(full) == before


def test_a_saved_workbook_changes_nothing_either(full, book):
    preview = preview_csv(full, book.save())
    assert (preview.changes, preview.problems) == ((), ())


def test_numbers_are_numbers_and_no_text_is_a_formula(full, book):
    assert isinstance(book[4, "upper_limit"].value, float)
    kinds = {cell.data_type for row in book.sheet.iter_rows() for cell in row}
    assert kinds == {"n", "s"}
    notes = {cell.value for cell in book.sheet[get_letter(book, "note")]} - {None, "note"}
    assert all(text[0] == "'" for text in notes if text[0] in "'=+-@")
    assert len(notes) == 2


def get_letter(book, name):
    return book[1, name].column_letter


def test_edits_are_previewed_and_taken_in(full, book):
    book.set(2, "cure_time", 15).set(4, "note", "read anew").set(4, "upper_limit", 9.25)
    preview = preview_csv(full, book.save())
    assert preview.problems == ()
    assert [(c.cone, c.column, c.before, c.after) for c in preview.changes] == [
        (1, "cure_time", 12.0, 15.0),
        (3, "note", None, "read anew"),
        (3, "upper_limit", pytest.approx(1 / 3), 9.25),
    ]
    apply(full, preview)
    assert full.cone(1).settings["cure_time"] == 15
    # The version in the sheet is an older one now: what was edited is known, the rest stands.
    full.printed(1)
    assert preview_csv(full, book.path).changes == ()


def test_a_later_change_is_a_conflict(full, book):
    full.printed(1, changes={"cure_time": 20})
    preview = preview_csv(full, book.set(2, "cure_time", 15).save())
    (problem,) = preview.problems
    assert problem.where == "sheet table, row 2, column cure_time"
    assert "12 as exported, or 20 as it is now" in problem.expected


MANGLED = [
    ("wall", "=0.2+0.2", None, "found '=0.2+0.2', expected a value, not a formula"),
    ("note", "=HYPERLINK(1)", None, "a value, not a formula"),
    ("wall", date(2026, 12, 3), "d mmm", "made a day of a number"),
    ("wall", datetime(2026, 3, 12), "mmm d", "found '2026-03-12'"),
    ("wall", datetime(2026, 3, 12, 8), None, "not a time of day"),
    ("wall", time(8, 30), None, "not a time of day"),
    ("wall", timedelta(hours=30), "[h]:mm", "not a time of day"),
    ("wall", 0.004, "0.0%", "found '0.4 %', expected a plain number"),
    ("wall", "#DIV/0!", None, "a value, not an error"),
    ("wall", "Mar 12", None, "made a day of a number"),
    ("wall", "03.12.2026", None, "made a day of a number"),
    ("wall", "0,4", None, "a number with a decimal point"),
    ("upper_limit", "1,234", None, "Write it without marks between thousands"),
    ("upper_limit", "1E+05", None, "all digits of the number"),
    ("upper_limit", "5 %", None, "a number with a decimal point"),
    ("wall", True, None, "a number with a decimal point"),
    ("session", datetime(2026, 4, 3), None, "may have made a day of it"),
    ("status", 7, None, "one of planned"),
]


def test_what_a_spreadsheet_made_of_a_cell_is_refused_with_its_place(full, book):
    for name, value, form, wanted in MANGLED:
        before, usual = book[4, name].value, book[4, name].number_format
        preview = preview_csv(full, book.set(4, name, value, form).save())
        told = [str(one) for one in preview.problems]
        assert any(line.startswith(f"sheet table, row 4, column {name}: found ") for line in told)
        assert any(wanted in line for line in told), told
        with pytest.raises(ExchangeError):
            apply(full, preview)
        book.set(4, name, before, usual)


def test_numbers_as_texts_and_days_in_texts_are_taken_as_meant(full, book):
    book.set(2, "cure_time", "15").set(4, "thd_peak", "2.5")
    preview = preview_csv(full, book.save())
    assert preview.problems == ()
    assert [change.after for change in preview.changes] == [15.0, 2.5]
    row = book.sheet.max_row + 1
    for name, value in {"process": "filament", "wall": 0.5, "ribs": 1, "mass": 2}.items():
        book.set(row, name, value)
    book.set(row, "upper_limit", 7).set(row, "session", datetime(2031, 5, 4))
    after = {c.column: c.after for c in preview_csv(full, book.save()).changes if c.cone is None}
    assert after["session"] == "2031-05-04"


def test_a_day_in_another_order_is_the_same_session(full, tmp_path, read_sheet_rows):
    full.measure(3, session="2031-05-04", values={"upper_limit": 8.0})
    sheet = read_sheet_rows(export_csv(full, tmp_path / "t.csv"))
    (row,) = [row for row in sheet.rows if row["session"] == "2031-05-04"]
    for text in ("04.05.2031", "5/4/2031", "4-May-31", "May 4, 2031"):
        row["session"] = text
        preview = preview_csv(full, sheet.save())
        assert (preview.changes, preview.problems) == ((), ())
    row["session"] = "05.05.2031"
    assert [c.after for c in preview_csv(full, sheet.save()).changes] == ["05.05.2031"]


def test_merged_cells_are_refused_with_their_place(full, book):
    book.sheet.merge_cells("A4:A5")
    with pytest.raises(ExchangeError, match=r"table\.xlsx, cells A4:A5: found merged cells"):
        preview_csv(full, book.save())


def test_the_sheet_with_the_table_is_found(full, book):
    other = book.book.create_sheet("plans", 0)
    other.append(["what I want", "for lunch"])
    preview = preview_csv(full, book.save())
    assert preview.changes == ()
    assert preview.notes[0] == "read from sheet 'table'; passed over: 'plans'"
    book.book.copy_worksheet(book.sheet)
    with pytest.raises(ExchangeError, match="the table in 2 sheets: 'table', 'table Copy'"):
        preview_csv(full, book.save())


def test_columns_in_another_order_renamed_and_new(full, book):
    book.sheet.move_range(f"A1:B{book.sheet.max_row}", cols=40)
    book[1, "wall"].value = "thickness"
    book.sheet.cell(1, 39).value = "colour"
    preview = preview_csv(full, book.save())
    assert (preview.changes, preview.problems) == ((), ())
    assert (
        "column 'thickness' is unknown and passed over. If it is a missing one under "
        in (preview.notes[0])
    )
    assert any(note.startswith("not in the sheet, so unchanged: wall") for note in preview.notes)


def changed(path, name, edit):
    """Write a workbook anew with one part edited as bytes."""
    with zipfile.ZipFile(path) as archive:
        parts = {each: archive.read(each) for each in archive.namelist()}
    (part,) = [each for each in parts if re.fullmatch(name, each)]
    parts[part] = edit(parts[part])
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for each, content in parts.items():
            archive.writestr(each, content)
    return path


SHEET = r"xl/worksheets/sheet1\.xml"
LAUGHS = b'<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'


SPOILT = [
    (SHEET, lambda text: text[:-40], "a damaged workbook"),
    (SHEET, lambda text: text.replace(b'r="B2"', b'r="XFD2"'), "the cell XFD2 in"),
    (SHEET, lambda text: text.replace(b'r="B2"', b'r="B1048576"'), "the cell B1048576 in"),
    (SHEET, lambda text: text.replace(b"<sheetData>", LAUGHS + b"<sheetData>"), "type"),
    (SHEET, lambda text: text + b"<row/>" * (MOST_ROWS + 1), "more than 50,000 rows"),
    (SHEET, lambda text: text.decode().encode("utf-16"), "an odd encoding"),
    (SHEET, lambda text: b"<" + b"a>" * 9 + b"<", "a damaged workbook"),
    (r"xl/workbook\.xml", lambda text: b"", "a damaged workbook"),
]


def test_workbooks_of_strangers_are_bounded_and_refused_in_plain_words(full, book, monkeypatch):
    book.save()
    whole = book.path.read_bytes()
    for part, edit, wanted in SPOILT:
        book.path.write_bytes(whole)
        with pytest.raises(ExchangeError, match=wanted):
            preview_csv(full, changed(book.path, part, edit))
    book.path.write_bytes(whole)
    monkeypatch.setattr(workbook, "_MOST_BYTES", 5000)
    with pytest.raises(ExchangeError, match="MB when unpacked"):
        preview_csv(full, book.path)


def test_too_many_columns_parts_and_other_files(full, book, tmp_path):
    book.sheet.cell(2, MOST_COLUMNS + 1).value = 1
    with pytest.raises(ExchangeError, match="Delete the empty rows and columns"):
        preview_csv(full, book.save())
    many = tmp_path / "many.xlsx"
    with zipfile.ZipFile(many, "w") as archive:
        for number in range(1001):
            archive.writestr(f"{number}.xml", "")
    for path, content, wanted in (
        (many, None, "no plain ZIP archive"),
        (tmp_path / "odd.xlsx", b"PK\x03\x04rest", "no plain ZIP archive"),
        (tmp_path / "old.xls", b"\xd0\xcf\x11\xe0rest", "an old or an encrypted workbook"),
    ):
        if content is not None:
            path.write_bytes(content)
        with pytest.raises(ExchangeError, match=wanted):
            preview_csv(full, path)
    empty = Workbook()
    empty.save(tmp_path / "empty.xlsx")
    with pytest.raises(ExchangeError, match="an empty workbook"):
        preview_csv(full, tmp_path / "empty.xlsx")
    empty.active.append(["nothing", "of ours"])
    empty.save(tmp_path / "other.xlsx")
    with pytest.raises(ExchangeError, match=r"other\.xlsx, sheet Sheet, row 1"):
        preview_csv(full, tmp_path / "other.xlsx")


def test_only_a_workbook_of_ours_is_overwritten(full, tmp_path):
    path = export_table(full, tmp_path / "table.xlsx")
    export_table(full, path)
    content = bytearray(path.read_bytes())
    content[200] ^= 1
    path.write_bytes(content)
    with pytest.raises(OutputError, match="or was edited since"):
        export_table(full, path)
    export_table(full, path, force=True)
    with pytest.raises(OutputError, match=r"\.csv or \.xlsx"):
        export_table(full, tmp_path / "table.ods")
    assert export_table(full, tmp_path / "t.csv", decimal=",").read_bytes().count(b";")
    assert zipfile.is_zipfile(io.BytesIO(path.read_bytes()))
