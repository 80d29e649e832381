"""What verbs print: JSON without NaN, tables, pictures, progress."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimiser.answer_tables import Table as Rows
from optimiser.command import show
from tests import answers


def test_every_answer_becomes_sound_json():
    for answer in (
        answers.sensitivity(),
        answers.optimum(wordy=True),
        answers.comparison(),
        answers.dead_ends(),
        answers.outlook(),
        answers.no_outlook(),
        answers.pick(),
    ):
        plain = show.to_plain(answer)
        text = json.dumps(plain, allow_nan=False)
        assert json.loads(text) == plain


def test_kinds_of_values():
    value = {
        "nan": float("nan"),
        "numpy": np.float64(1.5),
        "whole": np.int64(3),
        "flag": np.bool_(True),
        "array": np.array([1.0, np.nan]),
        "frame": pd.DataFrame({"a": [1.0, np.nan], "b": ["x", None]}),
        "path": Path("a") / "b",
        "missing": pd.NA,
        "set": {1},
        0.05: "key",
    }
    assert show.to_plain(value) == {
        "nan": None,
        "numpy": 1.5,
        "whole": 3,
        "flag": True,
        "array": [1.0, None],
        "frame": [{"a": 1.0, "b": "x"}, {"a": None, "b": None}],
        "path": str(Path("a") / "b"),
        "missing": None,
        "set": [1],
        "0.05": "key",
    }


@given(
    st.recursive(
        st.none() | st.booleans() | st.integers() | st.floats() | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        max_leaves=20,
    )
)
def test_no_value_breaks_json(value):
    json.loads(json.dumps(show.to_plain(value), allow_nan=False))


def test_a_table_wraps_words_and_keeps_markup_as_text(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "40")
    show.print_table("Title", ["name", "value"], [["[bold]x[/bold]", "word " * 12]])
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].strip() == "Title"
    assert max(map(len, lines)) <= 40
    assert "[bold]x[/bold]" in " ".join(lines)


def test_a_number_and_its_unit_stay_together(capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "20")
    show.print_text("the reading was 12.5\N{NO-BREAK SPACE}kHz at last")
    lines = [line.strip() for line in capsys.readouterr().out.splitlines()]
    assert lines == ["the reading was", "12.5\N{NO-BREAK SPACE}kHz at last"]


def test_too_few_cones_are_told_instead_of_a_calibration(capsys):
    for whole in (True, False):
        show.print_calibration([answers.calibration(cones=2)], 2, {}, whole=whole)
        assert "too few" in capsys.readouterr().out


def test_the_check_is_a_sentence_or_a_table(capsys):
    show.print_calibration(answers.CHECKS, 6, {"upper_limit": "upper limit"}, whole=False)
    said = " ".join(capsys.readouterr().out.replace("\xa0", " ").split())
    assert said == (
        "Stands on 6 measured cones. Left out in turn, inside their 90 % interval (typical miss "
        "of the cones' spread): upper limit 5 of 6 (0.84 of 1.87 kHz); decay 5 of 6 (0.84 of "
        "1.87 ms). --calibration shows the table."
    )
    show.print_calibration(answers.CHECKS, 6, {}, whole=True)
    said = capsys.readouterr().out
    assert "spread of the cones" in said
    assert "1.9" in said


def test_progress_is_one_line_where_nobody_watches(capsys):
    with show.progress("weighing") as tell:
        tell(0.5, "half")
    told = capsys.readouterr()
    assert told.out == ""
    assert told.err == "weighing …\n"


def test_no_picture_is_drawn_unless_asked_for():
    def draw():
        pytest.fail("drawn for nothing")

    show.save_picture(draw, None, None, "")


@pytest.mark.parametrize("whole", [False, True])
def test_a_metric_that_is_not_foretold_is_named(capsys, whole):
    check = dataclasses.replace(answers.CHECKS[0], error=1.7, spread=1.87)
    assert not check.foretells
    assert dataclasses.replace(check, error=1.6).foretells
    show.print_calibration(
        [check, answers.CHECKS[1]], 6, {"upper_limit": "upper limit"}, whole=whole
    )
    said = " ".join(capsys.readouterr().out.split())
    assert "0.9 of the spread or more: upper limit; believe their intervals" in said


def test_short_cells_stay_whole_where_they_fit(capsys, monkeypatch):
    rows = [["a name of many words " * 3, "0.08 (0.00 to 0.18)", "0.35 (0.15 to 0.61)"]]
    for width, wrapped in ((60, False), (40, True)):
        monkeypatch.setenv("COLUMNS", str(width))
        show.print_rows(Rows("", ["variable", "alone", "in all"], rows, narrow=True))
        assert ("0.08 (0.00 to 0.18)" not in capsys.readouterr().out) == wrapped
