"""The picture of the recipe for production."""

from __future__ import annotations

import dataclasses

import numpy as np
import pandas as pd

from optimiser import figures
from optimiser.answers import Estimate
from optimiser.records.production import Candidate, Confirmation, Recommendation
from tests import answers
from tests.pictures import assert_on_the_page_and_legible, words

NAN = float("nan")
SCORE = np.linspace(0.3, 0.9, 41)


def candidate(role, mean, exact=None, cones=()):
    made = Estimate(mean, mean - 0.06, mean + 0.05, 24)
    shown = made if exact is None else Estimate(exact, exact - 0.05, exact + 0.05, 24)
    return Candidate(role, answers.RESIN, made, shown, made, 0.3, {}, NAN, 1.0, list(cones))


def recommendation(**changes):
    """An invented answer; nothing here is computed."""
    run = Confirmation(
        5, 0.58, 0.05, 0.55, True, True, 0.86, 0.55, 0.95, [],
        pd.DataFrame({"score": SCORE, "passes": 1 / (1 + np.exp(-60 * (SCORE - 0.58)))}),
    )  # fmt: skip
    others = [
        candidate("best if exact", 0.5, 0.71),
        candidate("best measured", 0.6, 0.63, ["12", "14"]),
        candidate("runner-up", 0.55, 0.57),
        candidate("runner-up", 0.54, 0.57),
        candidate("runner-up", 0.53, 0.54, ["3"]),
    ]
    answer = Recommendation(
        candidate("recommended", 0.64, 0.66), others, answers.UNKNOWN, answers.UNKNOWN, {},
        answers.UNKNOWN, 0.0, 0.0, {}, [], None, run, 24, [], [], "",
    )  # fmt: skip
    return dataclasses.replace(answer, **changes)


def test_it_names_recipes_cones_and_threshold_on_the_page():
    figure = figures.draw_recommendation(recommendation())
    figure.draw_without_rendering()
    assert_on_the_page_and_legible(figure)
    said = words(figure)
    for each in (
        "recommended", "best measured, cone 12", "runner-up 3, cone 3", "rings", "24 cones",
        "run of 5 cones", "score (0–1)", "true mean score (0–1)", "threshold", "passes with",
    ):  # fmt: skip
        assert each in said
    top, below = figure.axes
    marks = [line.get_xdata()[0] for line in top.lines if line.get_marker() == "D"]
    assert marks == [0.64]
    assert [0.58, 0.58] in [list(line.get_xdata()) for line in below.lines]


def test_an_exact_printer_has_no_rings_and_no_rival_no_mark():
    answer = recommendation()
    recipe = candidate("recommended", 0.64)
    run = dataclasses.replace(answer.confirmation, rival=NAN)
    figure = figures.draw_recommendation(
        dataclasses.replace(answer, recipe=recipe, others=[], confirmation=run)
    )
    figure.draw_without_rendering()
    assert_on_the_page_and_legible(figure)
    assert "rings" not in words(figure)
    assert "runner-up" not in words(figure)


def test_a_metric_to_minimise_passes_below_its_threshold():
    answer = recommendation()
    curve = pd.DataFrame(
        {"score": 10 * SCORE[::-1], "passes": 1 / (1 + np.exp(60 * (SCORE[::-1] - 0.58)))}
    )
    run = dataclasses.replace(answer.confirmation, threshold=5.8, rival=6.2, curve=curve)
    figure = figures.draw_recommendation(
        dataclasses.replace(answer, confirmation=run), metric="decay", unit="ms"
    )
    figure.draw_without_rendering()
    assert_on_the_page_and_legible(figure)
    assert "true mean decay (ms)" in words(figure)
    (mark,) = [line for line in figure.axes[1].lines if line.get_marker() == "o"]
    assert mark.get_xdata()[0] == 6.2
    assert mark.get_ydata()[0] < 0.1


def test_where_nothing_can_be_told_it_says_so():
    figure = figures.draw_recommendation(
        recommendation(recipe=None, confirmation=None, others=[], cones=1)
    )
    assert "No recipe for production yet: 1 cone" in words(figure)


def test_a_long_name_of_a_metric_stays_on_the_page():
    figure = figures.draw_recommendation(
        recommendation(), metric="weighted level of the whole kitchen radio", unit="dB re 20 µPa"
    )
    figure.draw_without_rendering()
    assert_on_the_page_and_legible(figure)
