"""What spreadsheets make of numbers and days, told from what people type."""

from __future__ import annotations

import pytest

from experiments.exchange import preview_csv
from experiments.exchange.mangled import (
    cut_exponent,
    remedy_for,
    rounds_to,
    same_day,
    unclear_thousands,
)


@pytest.mark.parametrize(
    "text",
    ["Mar 12", "12-Mar", "12. Mrz", "3.12.2026", "12/03/2026", "12/3", "2026-03-12", "12-Mar-26",
     "Mar-26", "1-2", "12.03.", "12 mars 2026", "2026-03-12 00:00"],
)  # fmt: skip
def test_a_day_is_known(text):
    assert "made a day of a number" in remedy_for(text)


@pytest.mark.parametrize("text", ["3.12", "3,12", "-5", "1e-5", "", "resin", "12 mm"])
def test_a_number_or_a_word_is_no_day(text):
    assert remedy_for(text) == ""


def test_other_marks_have_their_own_remedy():
    assert "marks between thousands" in remedy_for("1,234,567")
    assert "marks between thousands" in remedy_for("20 000")
    assert "without the sign" in remedy_for("5 %")


def test_a_mark_between_thousands_is_unclear_where_nothing_shows_what_it_means():
    assert unclear_thousands(["20,000", "1,234"], ",", ",") == {"20,000", "1,234"}
    assert unclear_thousands(["20.000", "7"], ".", ";") == {"20.000"}
    # One number that can have decimals only tells the mark; so does the usual delimiter.
    assert unclear_thousands(["20,000", "0,5"], ",", ",") == set()
    assert unclear_thousands(["20,000"], ",", ";") == set()
    assert unclear_thousands(["20.000"], ".", ",") == set()
    assert unclear_thousands(["20.000"], ".", "") == set()
    assert unclear_thousands(["0.400"], ".", ";") == set()


def test_an_unclear_number_is_refused_with_its_place(full, tmp_path):
    path = tmp_path / "t.csv"
    path.write_text('cone,upper_limit,session\n3,"20,000",friday\n', encoding="utf-8")
    (problem, *_) = preview_csv(full, path).problems
    assert problem.where == "row 2, column upper_limit"
    assert problem.found == "'20,000'"
    assert "between thousands" in problem.remedy


@pytest.mark.parametrize(
    ("text", "cut"),
    [("1E+05", True), ("1.23E+05", True), ("1,23E-05", True), ("1.23456E+05", False),
     ("1e-07", False), ("123456", False)],
)  # fmt: skip
def test_a_cut_exponent_is_known(text, cut):
    assert cut_exponent(text) is cut


@pytest.mark.parametrize(
    ("text", "value", "rounded"),
    [("9.5", 9.48, True), ("9.4", 9.48, False), ("12", 12.3, True), ("9", 9.48, False),
     ("1.2E+05", 123456.0, True), ("0.33", 1 / 3, True), ("0.0", 0.01, False)],
)  # fmt: skip
def test_a_rounded_number_is_known(text, value, rounded):
    assert rounds_to(text, ".", value) is rounded
    assert rounds_to(text.replace(".", ","), ",", value) is rounded


def test_one_day_in_several_orders():
    assert same_day("2031-05-04", "04.05.2031")
    assert same_day("2031-05-04", "5/4/2031")
    assert not same_day("2031-05-04", "05.05.2031")
    assert not same_day("monday", "monday")
