"""Whole recipes and a few settings, as a person names them."""

from __future__ import annotations

import pandas as pd
import pytest

from experiments.errors import RecipeError
from experiments.space import Space
from optimiser import fit
from optimiser.partial import promising, read_settings, recipes_with


@pytest.fixture
def model(mixed_plan):
    recipes = Space(mixed_plan).sample(12, seed=1)
    trials = recipes.assign(limit=range(12), loss=1.0, tone=80.0, status="measured")
    return fit(mixed_plan, trials, seed=0)


def test_settings_are_read_as_words_and_numbers(model):
    assert read_settings(model, "a", {"process": " resin ", "cure_time": "7.25"}) == {
        "process": "resin",
        "cure_time": 7.25,
    }


@pytest.mark.parametrize("given", [{}, {"colour": "red"}, {"process": "clay"}, {"cure_time": -9}])
def test_what_cannot_be_read_names_its_side(model, given):
    with pytest.raises(RecipeError, match=r"^b"):
        read_settings(model, "b", given)


def test_a_whole_recipe_stays_alone_and_a_part_gives_printable_ones(model):
    space = model.evidence.space
    whole = space.settings(model.evidence.measured.iloc[0])
    assert len(recipes_with(model, "a", whole, 0)) == 1
    frame = recipes_with(model, "a", {"process": "filament"}, 0)
    assert len(frame) > 1
    assert set(frame["process"]) == {"filament"}
    assert space.printable(frame).all()


def test_a_number_between_two_steps_is_kept(model):
    frame = promising(model, {"cure_time": 7.25}, 0)
    assert set(frame["cure_time"]) == {7.25}
    assert set(frame["process"]) == {"resin"}
    assert isinstance(frame, pd.DataFrame)


def test_settings_that_no_recipe_joins_are_refused(model):
    with pytest.raises(RecipeError, match="printable"):
        recipes_with(model, "a", {"process": "filament", "cure_time": 5}, 0)
