"""Expectation of a recipe and of a cone left out."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from experiments.errors import RecipeError
from optimiser import expect, fit, fit_curves
from optimiser.curve_readings import CurveReadings
from optimiser.curve_tables import expectation_tables, left_out_table
from tests.curve_workshops import known_family, known_plan

RECIPE = {"wall": 0.5, "process": "filament"}


@pytest.fixture(scope="module")
def workshop():
    return known_family(12, seed=4)


@pytest.fixture(scope="module")
def answer(workshop):
    return expect(known_plan(), *workshop, RECIPE, seed=1)


def test_metrics_are_those_of_the_metric_s_model_and_curves_stand_beside(workshop, answer):
    trials, readings = workshop
    model = fit(known_plan(), trials, seed=1)
    space = model.encoding.space
    assert answer.expected == model.expected(space.rows([RECIPE]))[0]
    assert set(answer.curves) == {"response"}
    assert answer.cones == 12 and answer.cone is None  # noqa: PT018
    assert answer.prints != answer.prints  # nothing has failed yet
    again = expect(known_plan(), trials, readings, RECIPE, seed=1, model=model)
    assert again.text == answer.text


def test_the_text_says_bands_misses_and_agreement(answer):
    said = answer.text.replace("\N{NO-BREAK SPACE}", " ")
    assert said.startswith("Expected level: ")
    assert "one new measurement of a new cone" in said
    assert "Each of 12 cones foretold without itself, the miss is: response" in said
    assert "Read from the middle curve, these agree with what is foretold: level." in said
    assert "nan" not in said.lower()


def test_a_cone_is_foretold_without_itself(workshop):
    trials, readings = workshop
    answer = expect(known_plan(), trials, readings, cone=5, seed=1)
    assert answer.cones == 11
    band = answer.curves["response"]
    assert band.cones == 11
    line = readings.curves[4]
    assert band.measured == pytest.approx(
        np.interp(np.log(band.x), np.log(line.x), line.y), abs=0.5
    )
    assert answer.measured["level"] == trials["level"].iloc[4]
    assert answer.text.startswith("Cone 5, foretold without itself: ")
    spoilt = readings.curves.copy()
    spoilt[4] = type(line)(line.measurement, line.name, line.x, line.y + 30)
    others = fit_curves(known_plan(), trials[trials["cone"] != 5], CurveReadings(spoilt), seed=1)
    assert others.predict(answer.settings)["response"].mean == pytest.approx(band.mean)


def test_a_failed_cone_is_foretold_and_has_nothing_to_compare(workshop):
    trials, readings = workshop
    failed = {"wall": 0.1, "process": "filament", "cone": 40, "status": "failed"}
    table = pd.concat([trials, pd.DataFrame([failed, {**failed, "cone": 41}])], ignore_index=True)
    table = pd.concat([table.head(6), table.tail(2)], ignore_index=True)
    answer = expect(known_plan(), table, readings, cone=40)
    assert answer.measured == {}
    assert answer.curves["response"].measured is None
    assert answer.text.startswith("Cone 40 failed, so nothing was heard of it: foretold without")
    assert 0 < answer.printing.low < answer.prints < answer.printing.high < 1  # cone 41 failed too
    assert answer.printing.cones == 7
    assert "It prints with a chance of" in answer.text


@pytest.mark.parametrize("count", [0, 1, 3])
def test_few_cones_say_that_nothing_can_be_told(workshop, count):
    trials, readings = workshop
    answer = expect(known_plan(), trials.head(count), readings, RECIPE)
    assert answer.curves == {} and answer.checks == []  # noqa: PT018
    assert "Of whole curves nothing can be told yet." in answer.text
    assert any("response curves: cannot tell yet" in note for note in answer.notes)
    assert "nan" not in answer.text.lower()
    (table,) = expectation_tables(known_plan(), answer)
    assert list(table.heads) == ["metric", "expected"]


def test_a_recipe_that_cannot_be_and_a_cone_that_is_not_are_refused(workshop):
    with pytest.raises(RecipeError, match="cure"):
        expect(known_plan(), *workshop, {**RECIPE, "cure": 0.5})
    with pytest.raises(RecipeError, match="a cone of the table"):
        expect(known_plan(), *workshop, cone=99)


@pytest.mark.parametrize(
    ("status", "wanted"),
    [("planned", "is planned and"), ("printed", "is printed and"), ("set aside", "was set aside")],
)
def test_a_cone_that_was_not_measured_says_how_it_stands(workshop, status, wanted):
    trials, readings = workshop
    other = {"wall": 0.1, "process": "filament", "cone": 40, "status": status}
    table = pd.concat([trials.head(3), pd.DataFrame([other])], ignore_index=True)
    assert expect(known_plan(), table, readings, cone=40).text.startswith(f"Cone 40 {wanted}")


def test_a_recipe_off_its_steps_is_foretold_and_one_outside_the_limits_refused(workshop):
    trials, readings = workshop
    few = trials.head(3)
    answer = expect(known_plan(), few, readings, {**RECIPE, "wall": 0.123456})
    assert answer.settings["wall"] == 0.123456
    assert any("wall 0.123456" in note and "off its steps" in note for note in answer.notes)
    assert not any("off its steps" in n for n in expect(known_plan(), few, readings, RECIPE).notes)
    with pytest.raises(RecipeError, match=r"recipe\.wall"):
        expect(known_plan(), few, readings, {**RECIPE, "wall": 99.0})


def test_tables_hold_metrics_curves_and_each_cone(answer):
    metrics, curves = expectation_tables(known_plan(), answer)
    assert [row[0] for row in metrics.rows] == ["level"]
    assert list(metrics.heads) == [
        "metric",
        "expected",
        "from the middle curve",
        "from the mean curve",
    ]
    assert curves.rows[0][0] == "response"
    assert curves.rows[0][4] == "–"  # no recipe was printed twice
    assert len(left_out_table(answer).rows) == 12
    seen = replace(answer, cone="5", measured={"level": 78.0})
    assert "measured" in expectation_tables(known_plan(), seen)[0].heads
