"""Headings that were stated beside those that a file has."""

from __future__ import annotations

import pytest

from experiments.acoustics import Options, listen
from experiments.acoustics.form import Form
from experiments.acoustics.stated import name_columns
from experiments.acoustics.table import read_table
from experiments.errors import CurveError


def table_of(head=""):
    return read_table(f"{head}1;2;3\n2;3;4\n3;4;5\n".encode(), "a.txt")


def test_stated_columns_become_headings_and_a_note():
    table = table_of()
    name_columns(table, Form(columns=("frequency", "level", "phase"), unit="kHz"))
    assert table.headings == ["frequency [kHz]", "level", "phase"]
    assert table.notes[-1] == "columns as [rig.files] states: frequency [kHz], level, phase"


def test_nothing_stated_changes_nothing():
    table = table_of("Hz;dB;deg\n")
    notes = list(table.notes)
    name_columns(table, Form(decimal="."))
    assert (table.headings, table.notes) == (["Hz", "dB", "deg"], notes)


def test_words_that_mean_nothing_to_us_give_way_to_what_is_stated():
    table = table_of("Hz;foo;dB\n")
    name_columns(table, Form(columns=("frequency", "level [dB]", "ignored")))
    assert table.headings == ["Hz", "level [dB]", "ignored"]


def test_another_harmonic_is_a_contradiction():
    table = table_of("Hz;HD2 %;HD3 %\n")
    with pytest.raises(CurveError, match="HD2"):
        name_columns(table, Form(columns=("Hz", "HD3 %", "HD2 %")))


def test_the_guess_speaks_of_what_was_stated():
    options = Options(columns=("Frequency (Hz)", "SPL (dB)"))
    heard = listen(b"100 80\n200 81\n400 82\n800 81\n", options=options)
    assert "taken as response: the columns stated name frequency and level" in heard.notes
