"""Answers as rows of text."""

from __future__ import annotations

import dataclasses

import pytest

from optimiser.answer_tables import (
    RULE,
    Table,
    chart_table,
    check_table,
    dead_end_table,
    difference_table,
    front_table,
    knob_table,
    level_table,
    offset_table,
    optimum_table,
    outlook_table,
    pair_tables,
    shift_table,
    sitting_table,
    spread_table,
    verdict_table,
    within,
)
from optimiser.answers import Estimate
from optimiser.stopping import _outlook_verdict
from tests import answers

LABELS = {"upper_limit": "upper limit", "cure_time": "curing"}


def rows(table: Table) -> list[list[str]]:
    """Cells, no-break spaces as plain ones; every row as long as the head."""
    assert all(len(row) == len(table.heads) for row in table.rows)
    return [[cell.replace("\xa0", " ") for cell in row] for row in table.rows]


def test_how_wide_a_table_is():
    assert Table("", ["a", "long words break"], [["12", "x"]]).letters == 2 + 2 + 5 + 2
    assert Table("", ["a", "b"], [["12", "short cells do not"]], narrow=True).letters == 4 + 20


def test_the_check():
    assert rows(check_table(answers.CHECKS, LABELS))[0] == [
        "upper limit", "5 of 6", "0.84 kHz", "1.9 kHz",
    ]  # fmt: skip


def test_knobs_with_intervals_and_verdicts():
    found = rows(knob_table(answers.sensitivity(), LABELS))
    assert found[0][:2] == ["wall", "0.30 (0.20 to 0.60)"]
    assert found[2][0] == "curing"


@pytest.mark.parametrize(
    ("bayes", "word"),
    [(3.0, "strong"), (2.9, "some"), (1.0, "some"), (0.9, "none"), (-0.9, "none"),
     (-1.1, "against"), (float("nan"), "–")],
)  # fmt: skip
def test_the_evidence_for_a_knob_in_a_word(bayes, word):
    answer = answers.sensitivity()
    knobs = [dataclasses.replace(each, evidence=bayes) for each in answer.knobs]
    found = rows(knob_table(dataclasses.replace(answer, knobs=knobs), LABELS))
    assert {row[3] for row in found} == {word}


def test_pairs_as_a_matrix_and_the_strongest_ones():
    matrix, strongest = pair_tables(answers.sensitivity(), LABELS)
    assert rows(matrix) == [
        ["1 wall", "", ""],
        ["2 process", "21", ""],
        ["3 curing", "2", "–"],
    ]
    assert rows(strongest)[0] == ["process with wall", "0.21 (0.11 to 0.32)", "seen"]
    assert pair_tables(answers.no_sensitivity(), LABELS) == []


def test_an_optimum_or_that_it_cannot_be_told():
    known = answers.optimum()
    unknown = dataclasses.replace(known, setting=None, at_edge=False)
    table = optimum_table([known, unknown], LABELS)
    assert rows(table) == [
        ["curing", "0 min", "0 to 20 min", "0 min", "at the end of its range"],
        ["curing", "cannot tell yet", "0 to 20 min", "0 min", ""],
    ]
    assert len(optimum_table([unknown], LABELS).heads) == 4


def test_where_the_best_lies_by_level():
    table = shift_table(answers.optimum(), LABELS)
    assert table.title == "Best curing by level, 90 % intervals"
    assert rows(table) == [
        ["resin", "tough: 12 min (8 to 16)", "stiff: 20 min (17 to 24)", "-8 min (-13 to -3)",
         "differs"],
    ]  # fmt: skip


def test_differences_and_levels():
    answer = answers.comparison()
    table = difference_table(answer, ("resin", "filament"), {"decay": "ms"}, LABELS)
    assert table.title == "resin minus filament"
    assert rows(table)[0] == ["score", "0.10 (-0.02 to 0.20)"]
    assert rows(table)[2] == ["decay", "-0.1 ms (-0.9 to 0.8)"]
    # A metric that is itself the score is told once.
    raw = dataclasses.replace(answer, score=answer.difference["decay"])
    table = difference_table(raw, ("resin", "filament"), {"decay": "ms"}, LABELS)
    assert "score" not in [row[0] for row in rows(table)]
    never = dataclasses.replace(answer, replicates=None)
    table = level_table([answer, never], [("a", "b"), ("a", "c")], "score", "")
    told = ["0.10 (-0.02 to 0.20)", "93 %"]
    assert [row[2:] for row in rows(table)] == [
        [*told, "4", "cannot tell yet"], [*told, "over 50", "cannot tell yet"],
    ]  # fmt: skip
    both = dataclasses.replace(answer, paired=answers.paired())
    (row,) = rows(level_table([both], [("a", "b")], "score", ""))
    assert row[-1] == "0.05 (-0.01 to 0.10)"


def test_the_front_lists_those_that_may_be_on_it():
    table = front_table(answers.front(), {"upper_limit": "kHz", "decay": "ms"}, LABELS)
    found = rows(table)
    assert table.heads == ["cone", "upper limit", "decay", "on the front"]
    assert found[1] == ["3, 9", "9.0 kHz (8.1 to 9.9)", "2.5 ms (2.2 to 2.8)", "88 %"]
    assert [row[0] for row in found] == ["1", "3, 9", "3", "4"]
    assert table.marked == {0, 1, 3}
    assert table.title.endswith("; 1 other under 5 %")


def test_how_sure_a_comparison_is():
    answer = dataclasses.replace(answers.comparison(), equivalence=0.03, power={3: 0.4})
    found = dict(rows(verdict_table(answer, "")))
    assert found["the first is ahead"] == "93 %"
    assert found["over the repeatability apart, up or down"] == "3 %"
    assert found["3 cones of each would tell"] == "40 %"
    assert len(difference_table(answer, ("A", "B"), {}, LABELS).heads) == 2
    answer = dataclasses.replace(answer, paired=answers.paired())
    found = dict(rows(verdict_table(answer, "")))
    assert found["of 69 equal other settings, first ahead in"] == "0.70 (0.50 to 0.90)"
    assert found["worth of settings of its own"] == "0.10 (0.05 to 0.15)"
    table = difference_table(answer, ("A", "B"), {}, LABELS)
    assert rows(table)[1][2] == "0.5 (0.1 to 0.9)"
    nothing = dataclasses.replace(answer, score=answers.UNKNOWN)
    assert rows(verdict_table(nothing, "")) == [["anything", "cannot tell yet"]]


def test_a_variable_is_named_once_in_the_dead_ends():
    found = rows(dead_end_table(answers.dead_ends(), LABELS, "score"))
    assert [row[0] for row in found] == ["process", "", "wall"]
    assert found[1][2:] == ["3 %", "0.20 (0.10 to 0.30)", "0.3 (0 to 1)", "drop"]
    assert found[0][4] == "cannot tell"


def test_a_loss_that_is_hardly_ever_any():
    ends = answers.dead_ends()
    hardly = dataclasses.replace(ends.variants[0], loss=Estimate(0.0012, 0.0, 0.0))
    never = dataclasses.replace(ends.variants[0], loss=Estimate(0.0, 0.0, 0.0))
    table = dead_end_table(dataclasses.replace(ends, variants=[hardly, never]), LABELS, "score")
    assert [row[3] for row in rows(table)] == ["0.001 (0.000 to 0.000)", "under 0.001"]


def test_the_outlook():
    found = dict(rows(outlook_table(answers.outlook())))
    assert found["best so far"] == "cone 3"
    assert found["expected gain of a plate of 4"] == "0.05 (0.01 to 0.10)"
    assert found["time for one more"] == "74 min"
    assert found["best within 5 % of what is possible"] == "80 %"
    assert rows(outlook_table(answers.no_outlook()))[1][1] == "cannot tell yet"


def test_the_spread_tells_known_sources_only():
    found = rows(spread_table(answers.spread()))
    assert [row[:2] for row in found] == [["decay", "measurement"], ["", "one new print"]]
    assert within(answers.spread()) == [("decay", "4.0\xa0%")]


def test_rig_drift():
    drift = answers.drift()
    assert rows(sitting_table(drift))[-1] == ["day 5", "shifted", "decay +0.30 ms"]
    assert rows(chart_table(drift.charts)) == [["decay", "2.10 ms", "1.90 to 2.30", "2.40", "5"]]
    table = offset_table(drift, LABELS)
    assert table.heads == ["session", "decay (% of value)"]
    assert rows(table)[0] == ["day 1", "0.5 (-1.0 to 2.0)"]
    told = [dataclasses.replace(drift.offsets[0], told=True), *drift.offsets[1:]]
    starred = offset_table(dataclasses.replace(drift, offsets=told), LABELS)
    assert starred.title.endswith("; * told from 0")
    assert [row[1].endswith("*") for row in rows(starred)] == [True, *[False] * 4]
    assert offset_table(dataclasses.replace(drift, offsets=[]), LABELS).rows == []


@pytest.mark.parametrize(
    ("within", "alike", "gain", "verdict"),
    [
        (0.90, 0.95, 0.249, "stop"),
        (0.89, 0.95, 0.249, "nearly there"),
        (0.90, 0.95, 0.251, "nearly there"),
        (0.10, 0.60, 0.499, "nearly there"),
        (0.10, 0.60, 0.501, "go on"),
        (0.10, 0.59, 0.499, "go on"),
    ],
)
def test_the_rule_told_is_the_rule_followed(within, alike, gain, verdict):
    """The numbers of `RULE`, a repeatability of 1, beside the code that judges."""
    for told in ("5 %", "90 %", "60 %", "a quarter of", "half the"):
        assert told in RULE
    found = _outlook_verdict(Estimate(gain, 0.0, 1.0), 1.0, {0.05: within}, alike)
    assert found == verdict


def test_the_outlook_of_a_front_speaks_of_volume():
    front = dataclasses.replace(
        answers.outlook(), volume=Estimate(0.45, 0.4, 0.5, 3), added=Estimate(0.03, 0, 0.09, 3)
    )
    assert rows(outlook_table(front)) == [
        ["the front covers", "0.45 (0.40 to 0.50) of the box from poor to good"],
        ["one more cone is expected to add", "0.03 (0.00 to 0.09)"],
        ["from", "3 cones"],
        ["time for one more", "74 min"],
    ]
