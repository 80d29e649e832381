"""Pictures of long names, of very many cones, of one: all on the page, nothing over anything."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Callable

import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text

from optimiser import figures
from optimiser.answers import Estimate, Member
from tests import answers
from tests.optimiser.figures.test_pictures import METRICS, THREE, THREE_METRICS
from tests.pictures import assert_on_the_page_and_legible, words

LABELS = {
    name: f"{answers.LONG[:-1]}{place}"
    for place, name in enumerate(("wall", "process", "cure_time", "upper_limit", "decay", "mass"))
}
LEVELS = {
    "resin": "tough grey resin of the second delivery A",
    "filament": "matte black filament with glass fibres B",
}
UNITS = {"upper_limit": "kHz", "decay": "ms per metre", "wall": "mJ/cm² a pass"}
MANY = 60


def _long(frame: pd.DataFrame, column: str = "setting") -> pd.DataFrame:
    return frame.assign(**{column: [LEVELS.get(each, each) for each in frame[column]]})


def long_sensitivity():
    answer = answers.sensitivity()
    knobs = [
        dataclasses.replace(
            knob, effect=_long(knob.effect), unit=UNITS["wall"] if knob.unit else ""
        )
        for knob in answer.knobs
    ]
    pairs = [dataclasses.replace(each, effect=_long(each.effect, "a")) for each in answer.pairs]
    return dataclasses.replace(answer, knobs=knobs, pairs=pairs)


def long_ends():
    answer = answers.dead_ends()
    variants = [
        dataclasses.replace(each, where=LEVELS.get(each.where, each.where))
        for each in answer.variants
    ]
    return dataclasses.replace(answer, variants=variants)


def long_optimum():
    answer = answers.optimum(wordy=True)
    metrics = {name: _long(each) for name, each in answer.metrics.items()}
    return dataclasses.replace(
        answer, curve=_long(answer.curve), setting=LEVELS["resin"], metrics=metrics
    )


def many_members(metrics: tuple[str, ...]):
    """A front of sixty recipes, fifteen on it, several close together."""
    rng = np.random.default_rng(4)
    ends = {"upper_limit": (5.0, 13.0), "decay": (1.2, 5.0), "mass": (1.0, 3.0)}
    members = []
    for place in range(MANY):
        at = {name: float(rng.uniform(*ends[name])) for name in metrics}
        members.append(
            Member(
                [str(place + 1)],
                answers.RESIN,
                {name: Estimate(v, 0.97 * v, 1.03 * v, MANY) for name, v in at.items()},
                {name: Estimate(float(rng.uniform(0.2, 0.9)), 0.1, 1, MANY) for name in metrics},
                0.9 if place < 15 else 0.1 if place < 30 else 0.01,
            )
        )
    front = answers.front(metrics=metrics)
    return dataclasses.replace(front, members=members, cones=MANY)


SCORES = np.random.default_rng(3).uniform(0.2, 0.7, MANY)
NUMBERS = list(range(1, MANY + 1))


def many_lines() -> list[figures.Line]:
    frequency = np.geomspace(50, 20000, 100)
    return [figures.Line(frequency, 80 + 0.1 * n + np.sin(frequency / n), n) for n in NUMBERS]


CROWDED: dict[str, Callable[[], Figure]] = {
    "effects": lambda: figures.draw_effects(long_sensitivity(), labels=LABELS),
    "indices": lambda: figures.draw_indices(long_sensitivity(), labels=LABELS),
    "interactions": lambda: figures.draw_interactions(
        long_sensitivity(), labels=LABELS, units=UNITS
    ),
    "calibration": lambda: figures.draw_calibration(answers.CHECKS, labels=LABELS),
    "calibration of one metric": lambda: figures.draw_calibration(
        [answers.calibration(cones=MANY)]
    ),
    "history": lambda: figures.draw_history(NUMBERS, SCORES, failed=[3, 64], best=5),
    "history of one": lambda: figures.draw_history([7], SCORES[:1], best=7),
    "optimum": lambda: figures.draw_optimum(long_optimum(), labels=LABELS, units=UNITS),
    "comparison": lambda: figures.draw_comparison(
        dataclasses.replace(answers.comparison(), paired=answers.paired()),
        a=f"{LABELS['process']} {LEVELS['resin']}",
        b=f"{LABELS['process']} {LEVELS['filament']}",
        units=UNITS,
        labels=LABELS,
    ),
    "dead ends": lambda: figures.draw_dead_ends(long_ends(), labels=LABELS),
    "front": lambda: figures.draw_front(many_members(THREE[:2]), METRICS, labels=LABELS),
    "front of three": lambda: figures.draw_front(
        many_members(THREE), THREE_METRICS, labels=LABELS
    ),
    "outlook": lambda: figures.draw_outlook(
        dataclasses.replace(
            answers.outlook(),
            history=pd.DataFrame({"cones": NUMBERS, "best": np.maximum.accumulate(SCORES)}),
        )
    ),
    "responses": lambda: figures.draw_response(many_lines(), best=17, limits={"from": 120.0}),
    "distortions": lambda: figures.draw_distortion(many_lines(), best=17),
    "drift": lambda: figures.draw_drift(answers.drift(), labels=LABELS),
}


@pytest.fixture(scope="module")
def drawn() -> dict[str, Figure]:
    made = {name: draw() for name, draw in CROWDED.items()}
    for figure in made.values():
        figure.draw_without_rendering()
    return made


@pytest.mark.parametrize("name", CROWDED)
def test_a_crowded_picture_is_on_the_page(drawn, name):
    assert_on_the_page_and_legible(drawn[name])


def shown_texts(figure: Figure) -> list[Text]:
    """All texts that are drawn: of the ticks, those within the axes."""
    texts = set(figure.findobj(Text))
    for axes in figure.axes:
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
                texts.discard(tick.label2)
                if not low <= tick.get_loc() <= high or not axes.get_visible():
                    texts.discard(tick.label1)
    return [each for each in texts if each.get_visible() and each.get_text().strip()]


@pytest.mark.parametrize("name", CROWDED)
def test_no_words_lie_over_other_words(drawn, name):
    # Turned words fill less than their box; a point of air is none of the words either.
    texts = [each for each in shown_texts(drawn[name]) if each.get_rotation() % 90 == 0]
    boxes = [(each.get_text(), each.get_window_extent().padded(-1.5)) for each in texts]
    assert len(boxes) >= 5
    for (one, a), (other, b) in itertools.combinations(boxes, 2):
        assert not a.overlaps(b), (one, other)


@pytest.mark.parametrize("name", ["indices", "interactions", "dead ends"])
def test_names_that_differ_at_their_end_differ_when_cut(drawn, name):
    told = words(drawn[name])
    assert all(f"lacque{place}" in told for place in (0, 1))


@pytest.mark.parametrize("name", ["front", "front of three"])
def test_names_of_cones_lie_over_no_mark(drawn, name):
    figure = drawn[name]
    for axes in figure.axes:
        marks = np.concatenate(
            [line.get_xydata() for line in axes.lines if line.get_marker() in "oD."]
        )
        at = axes.transData.transform(marks)
        names = [each for each in axes.findobj(Annotation) if each.get_text().isdigit()]
        assert len(names) >= 5
        for each in names:
            box = each.get_window_extent()
            assert not any(box.contains(x, y) for x, y in at), each.get_text()
