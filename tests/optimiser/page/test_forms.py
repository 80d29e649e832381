"""What was typed: kept as it was, read as it is meant, faults beside the fields."""

from __future__ import annotations

import pytest

from experiments.errors import LedgerError, Problem
from optimiser.page.forms import Form, file_label


def test_a_number_may_have_a_comma_and_a_wrong_one_is_a_fault_of_its_field():
    form = Form({"mass": " 2,31 ", "minutes": "long", "plate": "1.5", "note": ""})
    assert form.number("mass") == 2.31
    assert form.number("note") is None
    assert form.number("absent") is None
    assert form.sound
    assert form.number("minutes") is None
    assert form.whole("plate") is None
    assert set(form.faults) == {"minutes", "plate"}
    assert form.values["minutes"] == "long"


def test_problems_go_to_the_fields_that_they_are_about():
    form = Form({"wall": "9"})
    form.blame(
        LedgerError(
            Problem("wall", "9", "0.3 to 1.2", "Check it."), Problem("rule", "a", "b"), "x"
        ),
        {"wall": "set-wall"},
    )
    assert form.faults["set-wall"] == "Found 9, expected 0.3 to 1.2. Check it."
    assert form.faults[""] == "rule: found a, expected b x"


def test_a_group_of_fields_is_taken_by_its_beginning():
    form = Form({"set-wall": " 0.5 ", "set-process": "", "mass": "2"})
    assert form.part("set-") == {"wall": "0.5"}


@pytest.mark.parametrize(
    ("sent", "label"),
    [
        ("../../etc/passwd", "passwd"),
        ("..\\..\\boot.ini", "boot.ini"),
        ("/etc/shadow", "shadow"),
        ("C:\\rig\\cone 3.txt", "cone 3.txt"),
        ("a\0b\nc.txt", "abc.txt"),
        ("..", "file"),
        ("", "file"),
        ("x" * 500 + ".wav", "x" * 116 + ".wav"),
    ],
)
def test_a_file_name_is_a_label_without_a_folder(sent, label):
    assert file_label(sent) == label
