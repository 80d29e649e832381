from __future__ import annotations

import pytest

from optimiser.answers import Estimate
from optimiser.wording import (
    aim,
    capital,
    column,
    covered,
    duration,
    ends,
    interval,
    intervals,
    many,
    number,
    percent,
    pick_time,
    recipe_line,
    runs,
    setting,
    sides,
    unbroken,
)
from tests import answers

NAN = float("nan")


@pytest.mark.parametrize(
    ("value", "width", "text"),
    [
        (9.13287, 2.4, "9.1"),
        (0.58213, 0.061, "0.582"),
        (1234.56, 87, "1235"),
        (1234.56, 2500, "1235"),
        (-0.0001, 0.5, "0.00"),
        (0.1 + 0.2, None, "0.3"),
        (1234567.0, None, "1234567"),
        (NAN, 1.0, "–"),
        (None, None, "–"),
        (float("inf"), None, "–"),
    ],
)
def test_a_number_has_the_digits_that_its_interval_carries(value, width, text):
    assert number(value, width) == text


@pytest.mark.parametrize(
    ("value", "width", "text"),
    [(0.00031, 0.0, "0"), (0.00204, 0.009, "0.002"), (0.6, 0.2, "0.60")],
)
def test_decimals_can_be_capped(value, width, text):
    assert number(value, width, most=3) == text


def test_an_estimate_shows_its_interval_or_says_that_it_cannot():
    assert interval(Estimate(9.13, 7.9, 10.3), "kHz") == "9.1\xa0kHz (7.9 to 10.3)"
    assert interval(Estimate(NAN, NAN, NAN)) == "cannot tell yet"
    assert interval(Estimate(2.0, NAN, NAN), "g") == "2\xa0g"


@pytest.mark.parametrize(
    ("chance", "text"),
    [(0.414, "41\xa0%"), (0.999, "over 99\xa0%"), (0.0, "under 1\xa0%"), (NAN, "–")],
)
def test_no_probability_is_a_certainty(chance, text):
    assert percent(chance) == text


@pytest.mark.parametrize(
    ("minutes", "text"),
    [(44.6, "45\xa0min"), (180, "3 h"), (184, "3\xa0h 4\xa0min"), (NAN, "–")],
)
def test_durations(minutes, text):
    assert duration(minutes) == text


def test_a_recipe_in_plan_order_without_what_is_inactive():
    settings = {"wall": 0.1 + 0.2, "process": "filament"}
    assert recipe_line(answers.plan(), settings) == "process filament, wall 0.3\xa0mm"
    assert setting(NAN) == "–"


@pytest.mark.parametrize(
    ("values", "texts"),
    [
        ([8.4, 10.25, NAN], ["8.40", "10.25", "–"]),
        ([5.0, 5.0], ["5.000", "5.000"]),
        ([120.0, 9400.0], ["120", "9400"]),
        ([2.31, 2310.0, NAN], ["2.31", "2310", "–"]),
        ([-5.0, 0.02, 5.0], ["-5.0", "0.0", "5.0"]),
        ([0.0], ["0"]),
        ([], []),
    ],
)
def test_a_column_has_equal_decimals(values, texts):
    assert column(values) == texts


def test_an_interval_of_nothing_is_under_the_last_digit():
    assert interval(Estimate(0.0001, 0.0, 0.0003), most=3) == "under 0.001"
    assert interval(Estimate(0.0, 0.0, 0.0), "kHz", most=2) == "under 0.01\xa0kHz"
    assert interval(Estimate(0.009, 0.0, 0.054), most=3) == "0.01 (0.00 to 0.05)"


@pytest.mark.parametrize("count", [1, 2, 0])
def test_a_count_agrees_with_its_noun(count):
    assert many(count, "file") == f"{count} file{'s' if count != 1 else ''}"


def test_two_recipes_are_named_by_what_differs():
    plan = answers.plan()
    resin = {"process": "resin", "wall": 0.6, "cure_time": 12.0}
    assert sides(plan, resin, {**resin, "wall": 0.8}) == ("wall 0.6\xa0mm", "wall 0.8\xa0mm")
    assert sides(plan, resin, {"process": "filament", "wall": 0.6}) == (
        "process resin, cure time 12\xa0min",
        "process filament",
    )
    assert sides(plan, {"process": "resin"}, resin)[0] == "process resin"
    assert sides(plan, resin, resin)[0].startswith("process resin, wall")


def test_set_up_is_told_apart_from_printing():
    plan = answers.plan()
    pick = answers.pick(minutes=99.0, set_up=25.0, set_ups=["process"])
    assert pick_time(plan, pick) == "74\xa0min, and 25\xa0min of set-up (process)"
    assert pick_time(plan, answers.pick(minutes=99.0, set_up=0.0)) == "1\xa0h 39\xa0min"
    assert pick_time(plan, answers.pick(minutes=NAN)) == ""


@pytest.mark.parametrize(("cones", "wanted"), [(5, "5 cones) somewhat fewer"), (6, "about nine")])
def test_what_an_interval_promises_depends_on_the_cones(cones, wanted):
    assert wanted in aim(cones)


def test_settings_side_by_side_are_ranges():
    assert runs([7, 9, 10, 11], range(6, 13)) == "7, 9 to 11"
    assert runs([0.5], [0.4, 0.5]) == "0.5"
    assert runs(["b", "c"], ["a", "b", "c"]) == "b, c"
    assert runs([], [1, 2]) == ""
    assert ends(0.5, 0.5) == "0.5"


def test_a_column_of_intervals_has_equal_decimals():
    column = [Estimate(0.3, 0.1, 0.6), Estimate(0.304, 0.261, 0.349), Estimate(0.2, 0.17, 0.24)]
    wanted = ["0.30 (0.10 to 0.60)", "0.30 (0.26 to 0.35)", "0.20 (0.17 to 0.24)"]
    assert intervals(column, most=2) == wanted
    blank = Estimate(NAN, NAN, NAN)
    assert intervals([blank, Estimate(0.0, 0.0, 0.0), column[0]], most=3, unknown="–") == [
        "–", "under 0.001", "0.3 (0.1 to 0.6)",
    ]  # fmt: skip
    assert intervals([]) == []


def test_an_interval_that_leaves_0_out_does_not_seem_to_reach_it():
    column = [Estimate(-0.15, -0.29, -0.003), Estimate(0.1, -0.1, 0.3)]
    assert intervals(column)[0] == "-0.15 (-0.29 to 0.00)"
    wanted = ["-0.150 (-0.290 to -0.003)", "0.100 (-0.100 to 0.300)"]
    assert intervals(column, apart=[True, False]) == wanted


def test_more_than_the_whole_box_says_why():
    assert "over 1 because some are better than good" in covered(Estimate(3.4, 3.0, 3.8, 8))
    assert covered(Estimate(0.5, 0.4, 0.6, 8)).endswith("of the box from poor to good")


def test_intervals_stay_on_one_line_and_capitals_leave_the_rest_alone():
    assert unbroken("9 dB (7 to 10), 5 % of (a pair to be)") == (
        "9 dB (7\xa0to\xa010), 5\xa0% of (a pair to be)"
    )
    assert (capital("THD at 1 kHz"), capital("level at 1 kHz"), capital("")) == (
        "THD at 1 kHz", "Level at 1 kHz", "",
    )  # fmt: skip
