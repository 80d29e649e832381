"""What people type is taken as it is meant, or refused by name."""

from __future__ import annotations

import math

import pytest

from experiments.entries import clean_text, cone_number, finite_number, needed_text, typed_number
from experiments.errors import LedgerError


@pytest.mark.parametrize(
    ("given", "text"),
    [
        (None, ""),
        ("  a b ", "a b"),
        ("a\r\nb\rc\n", "a\nb\nc"),
        (7, "7"),
        ("Käse ½ 😀", "Käse ½ 😀"),
    ],
)
def test_texts_are_stripped_and_keep_their_letters(given, text):
    assert clean_text(given, "note") == text


@pytest.mark.parametrize("bad", ["a\0b", "\ud83d"])
def test_texts_that_no_file_can_hold_are_refused(bad):
    with pytest.raises(LedgerError, match="note: found a character"):
        clean_text(bad, "note")


def test_a_needed_text_must_not_be_empty():
    assert needed_text(" x ", "why") == "x"
    with pytest.raises(LedgerError, match=r"why: found nothing, expected a text\. Say it"):
        needed_text(" \n", "why", "Say it.")


@pytest.mark.parametrize(
    ("given", "number"), [(None, None), (math.nan, None), ("2.5", 2.5), (3, 3.0), (-0.0, 0.0)]
)
def test_numbers(given, number):
    found = finite_number(given, "mass")
    assert found == number
    if found == 0.0:
        assert math.copysign(1.0, found) == 1.0


@pytest.mark.parametrize("bad", [math.inf, "-inf", "much", [], True])
def test_what_is_no_number_is_refused(bad):
    with pytest.raises(LedgerError, match=r"mass: found .*, expected a number"):
        finite_number(bad, "mass")


def test_a_number_below_the_least_is_refused():
    assert finite_number(0, "age", least=0.0) == 0.0
    with pytest.raises(LedgerError, match="age: found -1, expected 0 or more"):
        finite_number(-1, "age", least=0.0)
    with pytest.raises(LedgerError, match="damp: found 101, expected 100 or less"):
        finite_number(101, "damp", least=0.0, most=100.0)


def test_cone_numbers():
    assert cone_number("12") == 12
    assert cone_number(3.0) == 3
    for bad in (0, -1, 1.5, "x", None, True, math.inf, math.nan, 2**40):
        with pytest.raises(LedgerError, match=r"plate: found .*a whole number"):
            cone_number(bad, "plate")


@pytest.mark.parametrize(
    ("typed", "number"), [("2.5", 2.5), (" 2,5 ", 2.5), ("-0,25", -0.25), ("1e3", 1000.0)]
)
def test_a_number_may_have_a_decimal_comma(typed, number):
    assert typed_number(typed, "mass") == number


@pytest.mark.parametrize("typed", ["", "much", "1,2,3", "inf", "nan", "1.000,5"])
def test_what_is_no_number_is_refused_by_name(typed):
    with pytest.raises(LedgerError, match=r"mass: found .*, expected a number such as 2\.5"):
        typed_number(typed, "mass")
