"""Text cells to typed rows: names of columns, types, every bad cell."""

from __future__ import annotations

import pytest

from experiments.errors import ExchangeError
from experiments.exchange.cells import RawSheet
from experiments.exchange.rows import SheetRow, columns_of, typed_rows
from experiments.plan import Plan


@pytest.fixture
def plan(plan_text):
    return Plan.from_text(plan_text)


def raw(header, *rows, delimiter=","):
    return RawSheet(header, list(enumerate(map(list, rows), start=2)), delimiter, b"", [])


def test_the_columns_in_order(plan):
    assert columns_of(plan)[:2] == ["cone", "status"]
    assert columns_of(plan)[-3:] == ["note", "measurement", "version"]
    assert set(plan.variables) | set(plan.metrics) < set(columns_of(plan))


@pytest.mark.parametrize(
    "heading", ["cure_time", "Cure time", "CURE-TIME (min)", "cure time [min]", " cure  time"]
)
def test_a_column_is_known_by_its_name_label_and_with_its_unit(plan, heading):
    sheet = typed_rows(raw([heading.strip()], ["12"]), plan, "t.csv")
    assert sheet.columns == {"cure_time"}
    assert sheet.rows[0].cells == {"cure_time": 12.0}


def test_a_label_that_means_two_columns_means_none():
    variables = {
        "one": {"kind": "integer", "low": 0, "high": 2, "label": "same"},
        "two": {"kind": "integer", "low": 0, "high": 2, "label": "same"},
    }
    metrics = {"m": {"from": "hand", "goal": "maximise"}}
    plan = Plan.from_dict({"name": "p", "variables": variables, "metrics": metrics})
    sheet = typed_rows(raw(["one", "Same"], ["1", "2"]), plan, "t.csv")
    assert sheet.columns == {"one"}
    assert "column 'Same' is unknown" in sheet.notes[0]


def test_cells_get_their_types(plan):
    header = ["cone", "status", "age_days", "process", "wall", "note", "upper_limit"]
    sheet = typed_rows(
        raw(header, ["3.0", "SET aside", "", "resin", "0.4", "7", "2e1"]), plan, "t"
    )
    assert sheet.problems == []
    assert sheet.rows[0].cells == {
        "cone": 3,
        "status": "set aside",
        "age_days": None,
        "process": "resin",
        "wall": 0.4,
        "note": "7",
        "upper_limit": 20.0,
    }


@pytest.mark.parametrize(
    ("column", "text", "expected"),
    [
        ("cone", "0", "a whole number from 1 upwards"),
        ("cone", "1e30", "a whole number from 1 upwards"),
        ("plate", "2.5", "a whole number from 1 upwards"),
        ("version", "x", "a whole number from 1 upwards"),
        ("status", "broken", "one of planned, printed"),
        ("age_days", "-1", "0 or more"),
        ("mass", "-2", "a mass above 0 g"),
        ("upper_limit", "-4.5", "a frequency above 0 kHz"),
        ("wall", "1,5", "a number with a decimal point"),
        ("note", "a\0b", "plain text"),
    ],
)
def test_a_bad_cell_is_one_problem_with_its_place(plan, column, text, expected):
    # A point elsewhere in the sheet settles the decimal mark.
    sheet = typed_rows(raw([column, "ribs", "thd_peak"], [text, "1.5", "2.5"]), plan, "t.csv")
    (problem,) = sheet.problems
    assert problem.where == f"row 2, column {column}"
    assert problem.found == repr(text)
    assert expected in problem.expected
    assert column not in sheet.rows[0].cells
    assert ("write 1.5." in problem.remedy) == (text == "1,5")


def test_short_rows_are_blank_at_their_end(plan):
    sheet = typed_rows(raw(["cone", "wall", "note"], ["1"]), plan, "t.csv")
    assert sheet.rows[0].cells == {"cone": 1, "wall": None, "note": None}


def test_without_any_known_column_the_names_are_told(plan):
    with pytest.raises(ExchangeError, match="cone, status, plate"):
        typed_rows(raw(["a", "b"]), plan, "t.csv")


@pytest.mark.parametrize(
    ("cell", "value", "differs"),
    [
        (None, None, False),
        (None, "", False),
        (None, 0.0, True),
        (0.0, None, True),
        (0.0, 0.0, False),
        ("a", "a", False),
        ("a", None, True),
        (None, "a", True),
    ],
)
def test_nothing_is_not_zero(cell, value, differs):
    row = SheetRow(2, {"x": cell}, {"x": "" if cell is None else str(cell)}, ".")
    assert row.differs("x", value) is differs
    assert row.differs("missing", value) is False
