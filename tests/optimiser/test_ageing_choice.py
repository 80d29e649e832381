"""Choosing a law by what was left out."""

from __future__ import annotations

import math

import pytest

from optimiser.ageing_choice import choose_law, left_out
from optimiser.ageing_model import AgeModel
from optimiser.ageing_rows import CLOCKS, keep
from optimiser.repeats import hear
from tests import kept_cones


def model(**design) -> AgeModel:
    shelf = kept_cones.draw(**design)
    return AgeModel(keep(hear(kept_cones.plan(), shelf.trials), "level", CLOCKS["light_hours"]))


@pytest.mark.parametrize("law", ["linear", "logarithmic", "saturating"])
def test_a_clear_law_is_named(law):
    place = ["linear", "logarithmic", "saturating"].index(law)
    found = choose_law(
        model(law=place, shape=30.0, visits=6, cones=9, noise=0.02, session=0.01, drift=-3.0)
    )
    assert found.law == law
    assert found.lead > 3
    assert found.text.startswith(law)
    assert max(found.weights, key=found.weights.get) == law


def test_noise_hides_the_law_and_that_is_said():
    found = choose_law(model(law=2, noise=1.5))
    assert found.law is None
    assert "cannot be told apart yet" in found.text


def test_two_ages_fit_any_law():
    found = choose_law(model(visits=2, dark=0))
    assert found.law is None
    assert math.isnan(found.lead)
    assert "a third would tell" in found.text


def test_whole_cones_are_left_out_where_there_are_four_else_single_readings():
    assert left_out(model(cones=4, dark=0)).shape == (4, 3)
    assert left_out(model(cones=2, dark=0)).shape == (8, 3)
    assert left_out(model(cones=13, visits=3, dark=0)).shape == (10, 3)
