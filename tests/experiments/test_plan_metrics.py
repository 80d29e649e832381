"""What can be wrong with a metric, and what is filled in where keys are left out."""

from __future__ import annotations

import pytest

from experiments.acoustics import catalogue
from experiments.plan_metrics import read_metrics
from experiments.plan_schema import Problems

UPPER = {
    "from": "response", "measure": "upper_limit", "unit": "kHz", "goal": "maximise",
    "poor": 5, "good": 14,
}  # fmt: skip


def read(**section):
    problems = Problems()
    return read_metrics(section, problems), problems


def good(name="m", **keys):
    metrics, problems = read(**{name: keys})
    assert not problems, [str(p) for p in problems]
    return metrics[name]


def test_the_name_alone_can_say_what_is_measured():
    metric = good("upper_limit", goal="maximise")
    assert (metric.source, metric.measure, metric.unit) == ("response", "upper_limit_hz", "Hz")
    metric = good("thd_peak_percent", goal="minimise")
    assert (metric.source, metric.measure, metric.unit) == ("distortion", "thd_peak_percent", "%")
    metric = good("mass", goal="minimise")
    assert (metric.source, metric.measure, metric.unit) == ("hand", "mass_g", "g")


def test_an_unknown_name_is_entered_by_hand():
    metric = good("y", goal="minimise")
    assert (metric.source, metric.measure, metric.unit) == ("hand", "y", "")
    metric = good("decay", **{"from": "hand"}, unit="days", goal="minimise")
    assert (metric.source, metric.measure, metric.unit) == ("hand", "decay", "days")


def test_every_measure_can_be_asked_for_from_every_kind_that_carries_it():
    for name, measure in catalogue.MEASURES.items():
        for kind in measure.kinds:
            metric = good(**{"from": kind}, measure=name, goal="maximise")
            assert (metric.source, metric.measure, metric.unit) == (kind, name, measure.unit)


def test_a_missing_from_is_the_first_kind_of_the_measure():
    assert good(measure="decay", goal="minimise").source == "impulse"


def test_goal_defaults_to_watch():
    assert good("upper_limit", goal="maximise").goal == "maximise"
    metrics, problems = read(y={"goal": "minimise"}, mass={"from": "hand"})
    assert metrics["mass"].goal == "watch"
    assert not problems


def test_options_are_kept():
    metric = good("upper_limit", goal="maximise", drop_db=6, band=[100, 20_000], smooth=12)
    assert metric.options == {"drop_db": 6, "band": (100.0, 20_000.0), "smooth": 12}
    assert good("breakup", goal="maximise", prominence_db=4).options == {"prominence_db": 4}
    assert good("thd_peak", goal="minimise", thd_of="total").options == {"thd_of": "total"}


@pytest.mark.parametrize(
    ("text", "shown"),
    [(">= 4.0", ">= 4"), ("<=-2", "<= -2"), (" > .5 ", "> 0.5"), ("< 1e3", "< 1000"),
     ("≥ 4", ">= 4"), ("≤ 4.25", "<= 4.25")],
)  # fmt: skip
def test_limits(text, shown):
    assert str(good(**UPPER | {"limit": text}).limit) == shown


def test_targets():
    assert good(goal="target", good=2, poor=[1, 4]).poor == (1.0, 4.0)
    assert good(goal="target", good=2, poor=0.5).poor == 0.5
    assert good(goal="target", good=-2, poor=[-3, 4]).good == -2


def test_a_single_goal_needs_neither_poor_nor_good():
    metric = good("y", goal="minimise")
    assert (metric.poor, metric.good) == (None, None)
    _, problems = read(y={"goal": "minimise"}, z={"goal": "watch"})
    assert not problems


@pytest.mark.parametrize(
    ("change", "where", "found", "expected"),
    [
        ({"measure": "uper_limit"}, "measure", '"uper_limit"', "a measure of the catalogue"),
        ({"from": "distortion"}, "from", '"distortion"', '"response" or "impulse" or "sweep"'),
        ({"from": "hand"}, "from", '"hand"', '"response" or'),
        ({"unit": "dB"}, "unit", '"dB"', '"Hz" or a unit'),
        ({"unit": "khz"}, "unit", '"khz"', '"Hz" or a unit'),
        ({"unit": ""}, "unit", '""', '"Hz" or a unit'),
        ({"poor": 14, "good": 5}, "poor", "poor = 14, good = 5", "poor below good"),
        ({"poor": 5, "good": 5}, "poor", "poor = 5, good = 5", "poor below good"),
        ({"goal": "minimise"}, "poor", "poor = 5", "poor above good"),
        ({"poor": [1, 2]}, "poor", "[1, 2]", "a number"),
        ({"poor": "low"}, "poor", '"low"', "a number"),
        ({"poor": None}, "poor", "nothing", "both poor and good"),
        ({"good": None}, "good", "nothing", "both poor and good"),
        ({"goal": None}, "goal", "nothing", '"maximise", "minimise"'),
        ({"goal": "target", "poor": None}, "poor", "nothing", "distance from the target"),
        ({"goal": "target", "good": None}, "good", "nothing", "the target"),
        ({"goal": "target", "poor": -1}, "poor", "-1", "a distance above 0"),
        ({"goal": "target", "poor": [5, 10]}, "poor", "[5, 10]", "one number below and one above"),
        ({"goal": "target", "poor": [14, 20]}, "poor", "[14, 20]", "one number below and one"),
        ({"goal": "target", "poor": [5, 14]}, "poor", "[5, 14]", "one number below and one"),
        ({"goal": "target", "poor": [20, 10]}, "poor", "[20, 10]", "[low, high]"),
        ({"goal": "target", "poor": [1, 2, 3]}, "poor", "[1, 2, 3]", "[low, high]"),
        ({"goal": "target", "poor": [1, "a"]}, "poor", '[1, "a"]', "[low, high]"),
        ({"limit": "= 4"}, "limit", '"= 4"', ">= 4.0"),
        ({"limit": "4"}, "limit", '"4"', ">= 4.0"),
        ({"limit": ">= 4 kHz"}, "limit", '">= 4 kHz"', ">= 4.0"),
        ({"limit": ">= 4,0"}, "limit", '">= 4,0"', ">= 4.0"),
        ({"limit": ">= 1e999"}, "limit", "1e999", ">= 4.0"),
        ({"limit": 4}, "limit", "4", ">= 4.0"),
        ({"band": [200]}, "band", "[200]", "two frequencies in Hz"),
        ({"band": [200, 100]}, "band", "[200, 100]", "two frequencies in Hz"),
        ({"band": [-5, 100]}, "band", "[-5, 100]", "above 0"),
        ({"band": "200:300"}, "band", '"200:300"', "two frequencies in Hz"),
        ({"thd_of": "total"}, "thd_of", "'thd_of'", "only drop_db, band, smooth"),
    ],
)
def test_each_slip_is_one_problem(change, where, found, expected):
    keys = {key: value for key, value in (UPPER | change).items() if value is not None}
    metrics, problems = read(m=keys)
    assert not metrics
    (problem,) = problems
    assert problem.where == f"metrics.m.{where}"
    assert found in problem.found
    assert expected in problem.expected


def test_options_by_hand_are_refused():
    _, problems = read(m={"from": "hand", "goal": "minimise", "drop_db": 3})
    assert [p.expected for p in problems] == ["no options"]


def test_a_measured_kind_needs_a_measure():
    _, problems = read(qqq={"from": "response", "goal": "maximise"})
    (problem,) = problems
    assert problem.where == "metrics.qqq.measure"
    assert "level_db" in problem.remedy


def test_several_goals_need_poor_and_good_each():
    _, problems = read(a={"goal": "minimise"}, b={"goal": "maximise", "poor": 1, "good": 2})
    assert {p.where for p in problems} == {"metrics.a.poor", "metrics.a.good"}


def test_at_least_one_metric_needs_a_goal():
    _, problems = read(a={"goal": "watch"}, b={})
    (problem,) = problems
    assert (problem.where, problem.expected) == ("metrics", "at least one with a goal")


def traded(**section):
    problems = Problems()
    read_metrics(section, problems, trade=True)
    return {problem.where: str(problem) for problem in problems}


DECAY = {"from": "impulse", "unit": "ms", "goal": "minimise", "poor": 5, "good": 1}
MASS = {"from": "hand", "unit": "g", "goal": "target", "poor": [1, 3], "good": 2}


def test_two_or_three_metrics_can_be_traded():
    assert not traded(upper=UPPER, decay=DECAY)
    assert not traded(upper=UPPER, decay=DECAY, mass=MASS, level={"goal": "watch"})


def test_a_trade_of_one_or_of_four_is_refused():
    assert 'goal: found "trade" with 1 metric to trade: upper' in traded(upper=UPPER)["goal"]
    assert "two or three metrics" in traded(upper=UPPER, level={"goal": "watch"})["goal"]
    four = traded(upper=UPPER, decay=DECAY, mass=MASS, other=MASS)
    assert "upper, decay, mass, other" in four["goal"]
    assert 'goal = "watch"' in four["goal"]


def test_what_is_traded_needs_poor_and_good():
    found = traded(upper=UPPER, y={"goal": "minimise"})
    assert set(found) == {"metrics.y.poor", "metrics.y.good"}
    assert "the plan trades metrics" in found["metrics.y.poor"]
    # All at once: too few to trade, and without ends.
    assert set(traded(y={"goal": "minimise"})) == {"goal", "metrics.y.poor", "metrics.y.good"}


def test_a_broken_metric_is_not_counted_as_missing():
    assert "goal" not in traded(upper=UPPER, decay={**DECAY, "goal": "minimize"})
