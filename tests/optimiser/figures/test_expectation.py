"""Picture of an expectation: every curve, what was measured, long names, nothing to show."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from optimiser import figures
from optimiser.records.estimates import UNTOLD
from optimiser.records.expectations import CurveBand, Expectation
from tests.pictures import assert_on_the_page_and_legible, words

HERTZ = np.geomspace(40, 20000, 200)


def band(name, unit, x, middle):
    width = 1.2 if unit == "%" else 2.0
    low, high = (middle / width, middle * width) if unit == "%" else (middle - 2, middle + 2)
    return CurveBand(name, x, unit, middle, low, high, middle, cones=24)


CURVES = {
    "response": band("response", "dB", HERTZ, 80 - 3 * np.log2(1 + (HERTZ / 9000) ** 4)),
    "thd": band("thd", "%", HERTZ[:120], 2 + np.sin(np.log(HERTZ[:120]))),
    "hd2": band("hd2", "%", HERTZ[:120], 1 + 0 * HERTZ[:120]),
    "decay": band("decay", "dB", np.linspace(0, 8, 160), -6 * np.linspace(0, 8, 160)),
}
ANSWER = Expectation(
    {}, None, float("nan"), {}, {}, UNTOLD, float("nan"), CURVES, [], [], 24, "told"
)


@pytest.mark.parametrize("names", [["response", "thd", "hd2", "decay"], ["response"], ["decay"]])
def test_each_curve_has_a_panel_with_units(names):
    drawn = {name: CURVES[name] for name in names}
    figure = figures.draw_expectation(dataclasses.replace(ANSWER, curves=drawn))
    figure.draw_without_rendering()
    assert_on_the_page_and_legible(figure)
    said = words(figure)
    assert len(figure.axes) == len(names)
    assert ("HD2" in said) == ("hd2" in names)
    assert ("level (dB)" in said) == ("response" in names)
    assert ("frequency (Hz)" in said) == ("response" in names)
    assert ("time since the peak (ms)" in said) == ("decay" in names)
    assert "24 cones" in said


def test_a_left_out_cone_shows_what_it_gave():
    seen = np.where(HERTZ < 10000, CURVES["response"].mean + 1, np.nan)
    curves = {"response": dataclasses.replace(CURVES["response"], measured=seen)}
    figure = figures.draw_expectation(dataclasses.replace(ANSWER, cone="7", curves=curves))
    figure.draw_without_rendering()
    assert_on_the_page_and_legible(figure)
    assert "Cone 7, foretold without it" in words(figure)
    assert "thin: measured" in words(figure)
    assert any(
        np.array_equal(line.get_ydata(), seen, equal_nan=True) for line in figure.axes[0].lines
    )


def test_without_curves_it_says_why():
    figure = figures.draw_expectation(dataclasses.replace(ANSWER, curves={}, cones=1))
    assert "No foretold curves: 1 cone cannot tell yet" in words(figure)
