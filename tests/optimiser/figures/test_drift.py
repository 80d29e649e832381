"""The picture of drift: labelled, legible, nothing clipped, says why not."""

from __future__ import annotations

import numpy as np
import pytest
from matplotlib.figure import Figure

from optimiser.drift import rig_drift
from optimiser.figures import draw_drift, to_png, to_svg
from optimiser.figures.style import LIGHT
from tests import workshops
from tests.pictures import assert_on_the_page_and_legible, words

PLAN = workshops.plan()
SHOP = workshops.draw(workshops.thorough(), 0.5, 0.3, 0.1).trials


def reference(levels, name="day {}"):
    """The reference cone once a session."""
    frame = workshops.table([(0, 1, place) for place in range(len(levels))], levels)
    return frame.assign(session=[name.format(place + 1) for place in range(len(levels))])


SHIFTED = reference([80.0, 80.1] * 6 + [82.0])
CASES = {
    "thorough": lambda: rig_drift(PLAN, SHOP),
    "shifted": lambda: rig_drift(PLAN, SHIFTED),
    "few": lambda: rig_drift(PLAN, reference([80.0, 80.3, 80.1])),
    "no reference": lambda: rig_drift(workshops.plan(sessions=None), SHOP),
    "long names": lambda: rig_drift(
        PLAN, reference([80.0, 80.1] * 20, "a session with $a long name$ and 壁 number {}")
    ),
}


@pytest.fixture(scope="module")
def drawn() -> dict[str, Figure]:
    figures = {name: draw_drift(make()) for name, make in CASES.items()}
    for figure in figures.values():
        figure.draw_without_rendering()
    return figures


@pytest.mark.parametrize("name", CASES)
def test_nothing_leaves_the_page_and_type_is_legible(drawn, name):
    figure = drawn[name]
    assert_on_the_page_and_legible(figure)
    lowest = [label for label in figure.axes[-1].get_xticklabels() if label.get_text()]
    assert 1 < len(lowest) <= 8


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        (
            "thorough",
            ("level (dB)", "decay (ms)", "day 6", "Reference cone 1 in 6 sessions", "90 %"),
        ),
        ("shifted", ("13 sessions", "dashed: limits", "1 cone")),
        ("few", ("3 sessions, too few for limits",)),
        ("no reference", ("decay (% of value)", "cones heard in several sessions")),
    ],
)
def test_it_says_its_units_and_cones(drawn, name, wanted):
    said = words(drawn[name])
    assert [each for each in wanted if each not in said] == []


def test_limits_are_drawn_where_there_are_readings_enough(drawn):
    def dashed(figure):
        return [line for line in figure.axes[0].lines if line.get_linestyle() == "--"]

    chart = rig_drift(PLAN, SHIFTED).charts[0]
    heights = sorted(float(line.get_ydata()[0]) for line in dashed(drawn["shifted"]))
    assert heights == pytest.approx([chart.low, chart.high])
    assert dashed(drawn["few"]) == []


def test_a_shifted_reading_stands_out(drawn):
    marks = [line for line in drawn["shifted"].axes[0].lines if line.get_marker() == "D"]
    assert [line.get_color() for line in marks] == [LIGHT["lead"]]
    np.testing.assert_allclose(marks[0].get_xydata(), [[12, 82.0]])
    dots = [line for line in drawn["shifted"].axes[0].lines if line.get_marker() == "o"]
    assert len(dots[0].get_xdata()) == 12


def test_bars_are_the_offsets_in_the_metrics_unit(drawn):
    found = rig_drift(PLAN, SHOP)
    bars = [line for line in drawn["thorough"].axes[1].lines if line.get_color() == LIGHT["straw"]]
    decay = [each.offset for each in found.offsets if each.metric == "decay"]
    centre = found.charts[1].centre
    expected = [[centre * (1 + o.low / 100), centre * (1 + o.high / 100)] for o in decay]
    np.testing.assert_allclose([line.get_ydata() for line in bars], expected)


def test_an_empty_picture_says_why():
    figure = draw_drift(rig_drift(PLAN, SHOP.iloc[:0]))
    assert "No drift to draw" in words(figure)
    assert to_png(figure, 50).startswith(b"\x89PNG")


def test_svg_repeats_exactly_and_labels_are_used():
    labels = {"level": "loudness at one metre"}
    first, second = (to_svg(draw_drift(CASES["few"](), labels=labels)) for _ in range(2))
    assert first == second
    assert "loudness at one metre" in words(draw_drift(CASES["few"](), labels=labels))
