"""Reading files whose form was stated: what was ambiguous is plain, what differs is refused."""

from __future__ import annotations

import pytest

from experiments.acoustics import listen
from experiments.acoustics.form import Form
from experiments.acoustics.options import Options
from experiments.errors import CurveError

AMBIGUOUS = "100,5,85,2\n200,5,85,3\n400,5,85,1\n100,7,85,0\n"
"""Pairs of numbers with decimal commas, or four columns."""

THOUSANDS = "100,500\t85,200\n200,500\t85,300\n400,500\t85,100\n"


def heard(text, kind="response", name="a.txt", **stated):
    raw = text if isinstance(text, bytes) else text.encode()
    return listen(raw, name=name, kind=kind, options=Options(**stated)).curves[kind]


def refusal(text, **stated):
    with pytest.raises(CurveError) as caught:
        heard(text, **stated)
    (problem,) = caught.value.problems
    return problem


def test_a_file_that_could_mean_two_things_is_plain_once_it_is_stated():
    assert "decimals or thousands" in refusal(THOUSANDS).found
    curve = heard(THOUSANDS, decimal=",")
    assert curve.frequency.tolist() == [100.5, 200.5, 400.5]
    assert curve.level.tolist() == [85.2, 85.3, 85.1]


def test_commas_between_columns_are_plain_once_they_are_stated():
    problem = refusal(AMBIGUOUS)
    assert "commas that may part columns or mark decimals" in problem.found
    columns = ("frequency [Hz]", "spl [dB]", "phase [deg]", "coherence")
    curve = heard("100,85,2,1\n200,86,3,1\n400,87,1,1\n", delimiter=",", columns=columns)
    assert curve.level.tolist() == [85, 86, 87]
    assert curve.phase.tolist() == [2, 3, 1]


@pytest.mark.parametrize(
    ("text", "stated", "words"),
    [
        ("100;85\n200;86\n400;85\n", {"delimiter": "tab"}, "cells parted by 'tab'"),
        ("100,85\n200,86\n400,85\n", {"delimiter": ";"}, "cells parted by ';'"),
        ("# x\n100.5;85.2\n200.5;85.1\n", {"decimal": ","}, "decimal commas"),
        ("100,5;85,2\n200,5;85,1\n", {"decimal": "."}, "decimal points"),
    ],
)
def test_a_row_in_another_form_is_refused_with_its_line(text, stated, words):
    problem = refusal(text, **stated)
    assert problem.where == ("a.txt:2" if text.startswith("#") else "a.txt:1")
    assert words in problem.expected
    assert "[rig.files]" in problem.remedy


@pytest.mark.parametrize(
    ("text", "stated", "found"),
    [
        (
            "f;L\n100;85\n200;86\n300;87\n",
            {"columns": ("frequency", "level", "phase")},
            "2 columns",
        ),
        ("Hz;THD %\n100;5\n200;6\n300;7\n", {"columns": ("Hz", "level")}, "'THD %'"),
        ("kHz;dB\n0.1;85\n0.2;86\n0.3;87\n", {"unit": "Hz"}, "'kHz'"),
        ("kHz;dB\n0.1;85\n0.2;86\n0.3;87\n", {"columns": ("Hz", "dB")}, "'kHz'"),
    ],
)
def test_headings_that_say_otherwise_are_refused(text, stated, found):
    problem = refusal(text, **stated)
    assert found in problem.found
    assert problem.where == "a.txt:2"


def test_a_unit_that_is_stated_is_not_assumed():
    curve = heard("1;85\n2;86\n30;87\n", unit="Hz")
    assert curve.frequency.tolist() == [1, 2, 30]
    curve = heard("1;85\n2;86\n30;87\n", unit="kHz")
    assert curve.frequency.tolist() == [1000, 2000, 30000]


def test_the_files_own_heading_keeps_a_unit_that_is_not_stated():
    curve = heard("Frequency [kHz];SPL [dB]\n1;85\n2;86\n3;87\n", columns=("frequency", "level"))
    assert curve.frequency.tolist() == [1000, 2000, 3000]


def test_a_stated_encoding_is_used_or_the_line_named():
    raw = "Fréquence;dB\n100;85\n200;86\n300;87\n".encode("cp1252")
    assert heard(raw, encoding="cp1252").level.tolist() == [85, 86, 87]
    problem = refusal(b"# ok\n# \xe9\n100;85\n200;86\n", encoding="utf-8")
    assert (problem.where, problem.found) == ("a.txt:2", "bytes that are not utf-8")


def test_a_character_of_ones_own_parts_columns():
    assert heard("100:85\n200:86\n400:85\n", delimiter=":").level.tolist() == [85, 86, 85]


def test_a_form_allows_what_it_does_not_state():
    ways = [(";", "."), (None, ",")]
    assert list(Form().ways(ways)) == ways
    assert list(Form(decimal=",").ways(ways)) == [(None, ",")]
    assert list(Form(delimiter=",").ways(ways)) == [(",", ".")]
    assert list(Form(delimiter="space").ways(ways)) == [(None, "."), (None, ",")]
