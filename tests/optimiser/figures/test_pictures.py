"""Every picture: it draws, it is labelled with units, nothing is clipped, it says why not."""

from __future__ import annotations

import dataclasses
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from optimiser import figures
from optimiser.answers import Optimum, Switch
from optimiser.figures.style import LIGHT
from tests import answers
from tests.pictures import assert_on_the_page_and_legible, words

NAN = float("nan")
LINES = answers.curves().response


CURVES = answers.curves()
UNITS = {"upper_limit": "kHz", "decay": "ms"}
METRICS = answers.plan().metrics
THREE = ("upper_limit", "decay", "mass")
THREE_METRICS = {
    **METRICS, "mass": dataclasses.replace(METRICS["mass"], goal="target", good=2.0, poor=1.0)
}  # fmt: skip


def switching(*middles: float) -> Optimum:
    """Give an optimum along which the best recipe changes its resin."""
    switches = [Switch("resin", "tough", None, at - 5, at + 5) for at in middles]
    return dataclasses.replace(answers.optimum(), switches=switches)


PICTURES: dict[str, Callable[[], Figure]] = {
    "response": lambda: figures.draw_response(
        LINES, best=3, limits={"from": 120.0, "to": 9000.0, "break-up": 8000.0}
    ),
    "response of one": lambda: figures.draw_response(LINES[:1]),
    "distortion": lambda: figures.draw_distortion(CURVES.distortion, best=3, peak=(400.0, 1.3)),
    "impulse": lambda: figures.draw_impulse(CURVES.impulse, CURVES.envelope, decay_ms=3.0),
    "effects": lambda: figures.draw_effects(answers.sensitivity(), answers.TRIALS, answers.SCORES),
    "indices": lambda: figures.draw_indices(answers.sensitivity()),
    "interactions": lambda: figures.draw_interactions(answers.sensitivity(), units={"wall": "mm"}),
    "calibration": lambda: figures.draw_calibration(answers.CHECKS),
    "history": lambda: figures.draw_history([1, 2, 3, 4, 5], answers.SCORES, failed=[4], best=3),
    "optimum": lambda: figures.draw_optimum(
        answers.optimum(), units=UNITS, trials=answers.TRIALS.assign(score=answers.SCORES)
    ),
    "optimum, one knob held": lambda: figures.draw_optimum(
        dataclasses.replace(answers.optimum(), hold={"process": "resin"}, metrics={})
    ),
    "optimum, a level changed": lambda: figures.draw_optimum(switching(20.0)),
    "optimum of words": lambda: figures.draw_optimum(answers.optimum(wordy=True)),
    "comparison": lambda: figures.draw_comparison(answers.comparison(), units=UNITS),
    "comparison over the same": lambda: figures.draw_comparison(
        dataclasses.replace(answers.comparison(), paired=answers.paired()), units=UNITS
    ),
    "dead ends": lambda: figures.draw_dead_ends(answers.dead_ends()),
    "front": lambda: figures.draw_front(answers.front(), METRICS),
    "front of three": lambda: figures.draw_front(answers.front(metrics=THREE), THREE_METRICS),
    "outlook": lambda: figures.draw_outlook(answers.outlook()),
}


NO_DIFFERENCE = dataclasses.replace(
    answers.comparison(), difference={}, score=answers.UNKNOWN, probability=NAN
)
NO_CURVE = dataclasses.replace(answers.optimum(), curve=answers.optimum().curve.iloc[:0])
NO_ENDS = dataclasses.replace(answers.dead_ends(), variants=[])
EMPTY: dict[str, Callable[[], Figure]] = {
    "response": lambda: figures.draw_response([]),
    "distortion": lambda: figures.draw_distortion([]),
    "impulse": lambda: figures.draw_impulse(None),
    "effects": lambda: figures.draw_effects(answers.no_sensitivity()),
    "indices": lambda: figures.draw_indices(answers.no_sensitivity()),
    "interactions": lambda: figures.draw_interactions(answers.no_sensitivity()),
    "calibration": lambda: figures.draw_calibration([answers.calibration(cones=2)]),
    "history": lambda: figures.draw_history([1], np.array([NAN])),
    "optimum": lambda: figures.draw_optimum(NO_CURVE),
    "comparison": lambda: figures.draw_comparison(NO_DIFFERENCE),
    "dead ends": lambda: figures.draw_dead_ends(NO_ENDS),
    "front": lambda: figures.draw_front(answers.no_front(), METRICS),
    "outlook": lambda: figures.draw_outlook(answers.no_outlook()),
}


@pytest.fixture(scope="module")
def drawn() -> dict[str, Figure]:
    figures_of = {name: draw() for name, draw in PICTURES.items()}
    for figure in figures_of.values():
        figure.draw_without_rendering()
    return figures_of


@pytest.mark.parametrize("name", PICTURES)
def test_nothing_leaves_the_page_and_type_is_legible(drawn, name):
    figure = drawn[name]
    assert_on_the_page_and_legible(figure)


@pytest.mark.parametrize(
    ("name", "wanted"),
    [
        ("response", ("frequency (Hz)", "level (dB)", "100", "1k", "10k", "to 9 kHz", "2 other")),
        ("distortion", ("frequency (Hz)", "THD (% of the fundamental)", "1.3 %", "cone 3")),
        ("impulse", ("time since the peak (ms)", "5 % of the peak", "3 ms", "cone 3")),
        ("effects", ("wall (mm)", "cure time (min)", "score (0–1)", "3 cones", "90 % bands")),
        ("indices", ("90 % intervals", "3 cones", "wall", "total", "alone")),
        (
            "interactions",
            ("wall", "21", "0.3 mm", "3 cones", "process", "score (0–1)", "cure time"),
        ),
        ("calibration", ("upper limit (kHz)", "5 of 6 inside", "decay (ms)")),
        ("history", ("cone number", "score (0–1)", "3 cones measured, 1 failed")),
        (
            "optimum",
            (
                "cure time (min)",
                "score (0–1)",
                "decay (ms)",
                "3 cones",
                "end of its range",
                "rings",
            ),
        ),
        ("optimum, one knob held", ("with process resin, the rest at its best",)),
        ("comparison", ("upper limit (kHz)", "decay (ms)", "93 %", "A minus B", "3 cones")),
        ("comparison over the same", ("upper limit (kHz)", "over the same other settings")),
        ("dead ends", ("probability", "3 % drop", "resin", "3 cones")),
        (
            "front",
            ("upper limit (kHz)", "decay (ms)", "poor", "good", "6 cones", "50 %", "shaded"),
        ),
        ("front of three", ("mass (0 poor, 1 on target)", "decay (ms)", "6 cones", "bars: 90 %")),
        ("outlook", ("cones measured", "go on", "3 cones", "repeatability", "over more cones")),
    ],
)
def test_a_picture_says_its_units_and_cones(drawn, name, wanted):
    said = words(drawn[name])
    assert [each for each in wanted if each not in said] == []


@pytest.mark.parametrize("name", EMPTY)
def test_an_empty_picture_says_why(name):
    figure = EMPTY[name]()
    said = words(figure)
    assert any(reason in said for reason in ("No ", "needs", "cannot"))
    assert figures.to_png(figure, 50).startswith(b"\x89PNG")


@pytest.mark.parametrize("name", ["effects", "optimum of words"])
def test_svg_is_sound_and_repeats_exactly(name):
    first = figures.to_svg(PICTURES[name](), alternative="what is seen")
    assert first == figures.to_svg(PICTURES[name](), alternative="what is seen")
    root = ElementTree.fromstring(first)
    assert root.tag.endswith("svg")
    assert "what is seen" in first
    assert "<dc:date>" not in first


def test_png_repeats_exactly():
    first, second = (figures.to_png(PICTURES["indices"](), 80) for _ in range(2))
    assert first == second


def test_an_optimum_draws_the_cones_of_the_score_and_of_each_metric(drawn):
    score, _, decay = drawn["optimum"].axes
    for axes, values in ((score, answers.SCORES), (decay, answers.TRIALS["decay"])):
        (rings,) = [line for line in axes.lines if line.get_marker() == "o"]
        pairs = np.column_stack([answers.TRIALS["cure_time"], values])
        np.testing.assert_allclose(rings.get_xydata(), pairs[np.isfinite(pairs).all(axis=1)])


def look(line: Line2D) -> tuple[object, ...]:
    """What tells a line from another one without its colour."""
    mark = line.get_marker() if line.get_marker() not in ("None", "", None) else ""
    filled = bool(mark) and line.get_markerfacecolor() not in ("none", LIGHT["paper"])
    drawn = line.get_linestyle() if line.get_linewidth() else "None"
    return mark, filled, drawn, round(line.get_linewidth(), 1) if drawn != "None" else 0


@pytest.mark.parametrize("name", PICTURES)
def test_what_differs_in_colour_differs_in_grey_too(drawn, name):
    for axes in drawn[name].axes:
        colours: dict[tuple[object, ...], set[str]] = {}
        for line in axes.lines:
            if len(line.get_xydata()) and line.get_visible():
                colours.setdefault(look(line), set()).add(to_hex(line.get_color()))
        assert not {how: each for how, each in colours.items() if len(each) > 1}


def test_effects_draw_every_cone_that_has_a_score(drawn):
    rings = [
        line.get_xydata()
        for axes in drawn["effects"].axes
        for line in axes.lines
        if line.get_markerfacecolor() == "none"
    ]
    # Three cones have a score; the one of filament has no cure time.
    assert [len(each) for each in rings] == [3, 3, 2]


LONG = "coats of damping lacquer, front"


def test_cones_in_one_place_are_named_together():
    front = answers.front()
    twin = dataclasses.replace(front.members[1], cones=["8"])
    both = dataclasses.replace(front, members=[*front.members[:2], twin, *front.members[2:]])
    assert "| 3, 8 |" in f"{words(figures.draw_front(both, METRICS))} |"
    assert "| 3 |" in f"{words(figures.draw_front(front, METRICS))} |"


def test_the_staircase_goes_through_the_front_from_poor_to_poor():
    figure = figures.draw_front(answers.front(), METRICS)
    stairs = max((line.get_xydata() for line in figure.axes[0].lines), key=len)
    # upper limit 5 (poor) to 14, decay 5 (poor) to 1: three recipes on the front of the means.
    wanted = [[5, 1.5], [7, 1.5], [7, 2.5], [9, 2.5], [9, 4], [12, 4], [12, 5]]
    np.testing.assert_allclose(stairs, wanted)


def test_long_names_are_broken_not_cut():
    labels = {"wall": LONG, "upper_limit": LONG}
    for figure in (
        figures.draw_effects(answers.sensitivity(), labels=labels),
        figures.draw_dead_ends(answers.dead_ends(), labels=labels),
        figures.draw_calibration(answers.CHECKS, labels=labels),
    ):
        figure.draw_without_rendering()
        assert "…" not in words(figure)
        assert LONG in words(figure)
        assert figure.get_tightbbox().x1 < figure.get_figwidth()


def test_effects_say_how_many_knobs_they_leave_out():
    assert "not drawn" not in words(figures.draw_effects(answers.sensitivity()))
    assert "1 with smaller indices not drawn" in words(
        figures.draw_effects(answers.sensitivity(), most=2)
    )


def test_a_probability_axis_ends_at_one(drawn):
    assert drawn["dead ends"].axes[0].get_xlim() == (0, 1)


def test_every_interval_of_the_check_lies_inside_its_panel(drawn):
    for axes, check in zip(drawn["calibration"].axes, answers.CHECKS, strict=False):
        low, high = axes.get_xlim()
        assert low < check.table["low"].min()
        assert check.table["high"].max() < high


def test_the_strip_of_a_difference_shows_zero_and_both_ends(drawn):
    for axes, each in zip(
        drawn["comparison"].axes,
        [answers.comparison().score, *answers.comparison().difference.values()],
        strict=True,
    ):
        low, high = axes.get_xlim()
        assert low < min(each.low, 0) <= max(each.high, 0) < high


def test_minimised_history_runs_down():
    figure = figures.draw_history(
        [1, 2, 3], np.array([3.0, 5.0, 1.0]), metric="decay", unit="ms", minimise=True
    )
    assert list(figure.axes[0].lines[0].get_ydata()) == [3.0, 3.0, 1.0]


def test_importing_figures_changes_no_settings():
    import matplotlib

    before = dict(matplotlib.rcParams)
    figures.to_svg(figures.draw_indices(answers.sensitivity()))
    assert dict(matplotlib.rcParams) == before


def test_a_changed_level_is_marked_with_both_unless_it_goes_to_and_fro():
    def marks(answer: Optimum) -> list[str]:
        axes = figures.draw_optimum(answer).axes
        return [text.get_text() for each in axes for text in each.texts]

    assert marks(switching(20.0)) == ["tough", "none"]
    assert marks(switching(10.0, 20.0, 30.0)) == []
    assert marks(answers.optimum()) == []
