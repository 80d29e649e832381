"""CSV as spreadsheets write it."""

from __future__ import annotations

import csv
import io
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.errors import ExchangeError, OutputError
from experiments.exchange.cells import (
    cell_text,
    decimal_mark,
    disarm,
    parse_number,
    read_sheet,
    rearm,
    same_number,
    write_sheet,
)

KNOWN = ("cone", "wall", "note")


@pytest.mark.parametrize("text", ["=1+1", "+cmd", "-x", "@SUM(A1)", "\tx", "'quoted", "'=x"])
def test_formulas_are_disarmed_and_come_back(text):
    assert disarm(text) == f"'{text}"
    assert rearm(disarm(text)) == text


@pytest.mark.parametrize("text", ["-5", "+3.5", "-1e-3", "-2,5", "plain", "", "a=b"])
def test_numbers_and_plain_texts_stay_as_they_are(text):
    assert disarm(text) == text
    assert rearm(text) == text


def test_an_apostrophe_that_was_typed_stays():
    assert rearm("'twas") == "'twas"


@given(st.text())
def test_every_text_comes_back(text):
    assert rearm(disarm(text)) == text


@given(
    st.floats(allow_nan=False, allow_infinity=False),
    st.sampled_from(".,"),
    st.sampled_from([6, 12]),
)
def test_every_number_that_went_out_means_the_same(number, mark, digits):
    text = cell_text(number, mark, digits)
    assert same_number(text, mark, number)
    assert parse_number(text, mark) == pytest.approx(number, rel=0.5 * 10.0 ** (1 - digits))


@pytest.mark.parametrize(
    ("number", "digits", "text"),
    [
        (0.1 + 0.2, 12, "0.3"),
        (1 / 3, 12, "0.333333333333"),
        (1 / 3, 6, "0.333333"),
        (9.250003, 6, "9.25"),
        (1234567.0, 6, "1234567"),
        (1234567.8, 6, "1234568"),
        (-0.0, 6, "0"),
        (2.5e-7, 6, "2.5e-07"),
    ],
)
def test_numbers_are_written_as_people_do(number, digits, text):
    assert cell_text(number, ".", digits) == text
    assert same_number(text, ".", number)


def test_nothing_is_a_blank_cell():
    assert cell_text(None, ".") == cell_text(math.nan, ".") == ""
    assert cell_text(12.0, ",") == "12"
    assert cell_text(0.25, ",") == "0,25"


@pytest.mark.parametrize("text", ["", "x", "1 2", "1.2.3", "0x10", "nan", "inf", "1e999", "1_000"])
def test_what_is_no_number_is_refused(text):
    with pytest.raises(ValueError, match="a number"):
        parse_number(text, ".")


def test_the_other_decimal_mark_is_refused():
    with pytest.raises(ValueError, match="with a decimal point"):
        parse_number("1,5", ".")
    with pytest.raises(ValueError, match="with a decimal comma"):
        parse_number("1.5", ",")
    assert parse_number("\u22121,5", ",") == -1.5


@pytest.mark.parametrize(
    ("cells", "delimiter", "mark"),
    [
        (["1,5", "2"], ";", ","),
        (["1.5", "2"], ";", "."),
        (["1,5", "2,5", "1.5"], ";", ","),
        (["1,5", "1.5"], ",", "."),
        (["1,5", "1.5"], ";", ","),
        (["12", "x", ""], ";", "."),
        ([], ",", "."),
    ],
)
def test_the_decimal_mark_is_found(cells, delimiter, mark):
    assert decimal_mark(cells, delimiter) == mark


@pytest.mark.parametrize(
    ("text", "value", "same"),
    [
        ("12.3457", 12.345678, True),  # six digits, rounded right
        ("12.3456", 12.345678, False),  # six digits, another value
        ("12.35", 12.345678, False),  # few digits: meant
        ("12.345678", 12.345678, True),
        ("0.000123457", 0.000123456789, True),
        ("1.23457e-4", 0.000123456789, True),
        ("1.23457E+2", 123.456789, True),
        ("123457", 123456.789, True),
        ("123456", 123456.789, False),
        ("-12.3457", -12.345678, True),
        ("5", 5.0, True),
        ("5", 5.2, False),
        ("0.3", 0.1 + 0.2, True),  # as the export writes it
        ("9.25", 9.250003, True),
        ("9.25", 9.25004, False),
        ("1234570", 1234567.0, False),
    ],
)
def test_what_a_spreadsheet_rounded_for_display_is_no_edit(text, value, same):
    assert same_number(text, ".", value) is same
    assert same_number(text.replace(".", ","), ",", value) is same


@given(st.floats(min_value=1e-6, max_value=1e9), st.integers(min_value=6, max_value=15))
def test_any_correct_rounding_of_six_digits_or_more_is_no_edit(value, digits):
    assert same_number(f"{value:.{digits - 1}e}", ".", value)
    assert not same_number(f"{value * 1.001:.{digits - 1}e}", ".", value)


ROWS = [["cone", "wall", "note"], ["1", "0.4", 'rough; but, "fine"'], ["2", "0.5", "two\nlines"]]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_sheets_are_read_however_they_were_saved(tmp_path, delimiter, encoding, end):
    rows = [*ROWS, ["3", "0.6", "größer"]]
    buffer = io.StringIO(newline="")
    csv.writer(buffer, delimiter=delimiter, lineterminator=end).writerows(rows)
    path = tmp_path / "sheet.csv"
    path.write_bytes(buffer.getvalue().encode(encoding))
    sheet = read_sheet(path, KNOWN)
    assert sheet.header == rows[0]
    assert [row for _, row in sheet.rows] == rows[1:]
    assert sheet.delimiter == delimiter
    assert bool(sheet.notes) == (encoding == "cp1252")


def test_rows_keep_the_numbers_that_the_spreadsheet_shows(tmp_path):
    path = tmp_path / "sheet.csv"
    path.write_text('cone,wall,note\n1,0.4,"two\nlines"\n,,\n\n2,0.5,\n')
    assert [number for number, _ in read_sheet(path, KNOWN).rows] == [2, 5]


def test_what_is_written_is_read_back(tmp_path):
    path = tmp_path / "sheet.csv"
    write_sheet(path, ROWS, ";")
    assert not path.read_bytes().startswith(b"\xef\xbb\xbf")
    assert [row for _, row in read_sheet(path, KNOWN).rows] == ROWS[1:]
    write_sheet(path, [*ROWS, ["3", "", "größer"]], ";")
    assert path.read_bytes().startswith(b"\xef\xbb\xbf")
    assert read_sheet(path, KNOWN).rows[2] == (4, ["3", "", "größer"])
    assert [one.name for one in tmp_path.iterdir()] == ["sheet.csv"]


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "an empty file"),
        (b" \n\n", "an empty file"),
        (b"PK\x03\x04rest", "a workbook"),
        (b"\xd0\xcf\x11\xe0rest", "a workbook"),
        (b'cone,wall\n1,"open\n', "broken quoting"),
        (b"\xff\xfe\x00", "no text"),
        (b"co\x81ne,wall", "no text"),
    ],
)
def test_what_is_no_sheet_is_one_clear_error(tmp_path, content, words):
    path = tmp_path / "sheet.csv"
    path.write_bytes(content)
    with pytest.raises(ExchangeError, match=words) as refusal:
        read_sheet(path, KNOWN)
    assert len(refusal.value.problems) == 1


def test_a_missing_or_huge_file_is_refused(tmp_path, monkeypatch):
    with pytest.raises(ExchangeError, match="no such file"):
        read_sheet(tmp_path / "none.csv", KNOWN)
    monkeypatch.setattr("experiments.exchange.cells.MAX_BYTES", 10)
    path = tmp_path / "sheet.csv"
    path.write_text("cone,wall,note\n")
    with pytest.raises(ExchangeError, match="very large"):
        read_sheet(path, KNOWN)


def test_a_place_that_cannot_be_written_is_one_clear_error(tmp_path):
    with pytest.raises(OutputError, match="a file that can be written"):
        write_sheet(tmp_path / "none" / "sheet.csv", ROWS, ",")
