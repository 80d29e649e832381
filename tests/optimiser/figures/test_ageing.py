"""The picture of ageing: labelled, legible, nothing clipped, says why not."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure

from optimiser import ageing
from optimiser.figures import draw_ageing, to_png, to_svg
from tests import kept_cones
from tests.pictures import assert_on_the_page_and_legible, words

PLAN = kept_cones.plan()
SHELF = kept_cones.draw(cones=4, drift=-2.0).trials


def two_metrics():
    metric = {"from": "hand", "unit": "ms", "goal": "watch"}
    plan = kept_cones.plan(metrics={**kept_cones.PLAN["metrics"], "long_decay": metric})
    return ageing(plan, SHELF.assign(long_decay=np.exp(SHELF["level"] / 20)))


CASES = {
    "usual": lambda: ageing(PLAN, SHELF),
    "two metrics": two_metrics,
    "days": lambda: ageing(PLAN, SHELF, "age_days"),
    "many cones": lambda: ageing(PLAN, kept_cones.draw(cones=11, visits=3).trials),
    "an age asked for": lambda: ageing(PLAN, SHELF, at=400.0),
    "temperature": lambda: ageing(PLAN, kept_cones.draw(warm=0.3).trials, "temperature_c"),
    "wide bands": lambda: ageing(PLAN, kept_cones.draw(cones=2, visits=2, noise=2.0).trials),
}


@pytest.fixture(scope="module")
def drawn() -> dict[str, Figure]:
    figures = {name: draw_ageing(make()) for name, make in CASES.items()}
    for figure in figures.values():
        figure.draw_without_rendering()
    return figures


@pytest.mark.parametrize("name", CASES)
def test_nothing_leaves_the_page_and_type_is_legible(drawn, name):
    figure = drawn[name]
    assert_on_the_page_and_legible(figure)


def test_axes_have_units_and_cones_their_names(drawn):
    said = words(drawn["usual"])
    assert "level (dB)" in said
    assert "hours of light" in said
    assert "cone 4" in said
    assert "4 cones heard at several ages" in said
    assert "age (days)" in words(drawn["days"])
    assert "long decay (ms)" in words(drawn["two metrics"])
    assert "and 4 more" in words(drawn["many cones"])
    climate = words(drawn["temperature"])
    assert "temperature (°C)" in climate
    assert "longest time" not in climate


def test_the_limit_is_drawn_where_it_is_near(drawn):
    axes = drawn["usual"].axes[0]
    level = [line for line in axes.lines if list(line.get_ydata()) == [78.5, 78.5]]
    assert len(level) == 1
    assert level[0].get_linestyle() == "--"
    low, high = axes.get_ylim()
    assert low < 78.5 < high


def test_the_age_asked_for_is_drawn_and_named(drawn):
    figure = drawn["an age asked for"]
    assert any(list(line.get_xdata()) == [400.0, 400.0] for line in figure.axes[0].lines)
    assert "upright line: 400 h" in words(figure)


def test_measurements_stay_inside_however_wide_the_bands(drawn):
    axes = drawn["wide bands"].axes[0]
    low, high = axes.get_ylim()
    marks = [line for line in axes.lines if line.get_marker() not in ("None", "", None)]
    assert len(marks) == 2
    for line in marks:
        assert low < np.min(line.get_ydata())
        assert np.max(line.get_ydata()) < high


def test_it_writes_as_png_and_svg(drawn):
    assert to_png(drawn["usual"]).startswith(b"\x89PNG")
    assert "<svg" in to_svg(drawn["usual"], alternative="ageing")


def test_nothing_to_draw_says_why():
    assert "no cone was heard at two ages" in words(draw_ageing(ageing(PLAN, SHELF.iloc[:0])))
    humid = words(draw_ageing(ageing(PLAN, SHELF, "humidity_percent")))
    assert "no cone was heard at several values" in humid
