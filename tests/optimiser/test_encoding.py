"""Recipes as frames and as coordinates."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser.encoding import Encoding


def test_recipes_as_settings_and_back_are_the_same_frame(mixed_plan):
    space = Space(mixed_plan)
    frame = space.sample(12, seed=1).reset_index(drop=True)
    again = space.rows([space.settings(row) for _, row in frame.iterrows()])
    pd.testing.assert_frame_equal(again, frame, check_dtype=False)


def test_codes_and_frames_have_the_same_coordinates(mixed_plan):
    dose = {"formula": "cure_time * wall ** 2 if process == 'resin' else 0.4"}
    space = Space(Plan.from_dict({**mixed_plan.to_dict(), "derived": {"dose": dose}}))
    encoding = Encoding(space)
    assert "dose" in encoding.inputs
    codes = space.sample_codes(12, seed=1)
    by_codes, by_frame = encoding.of_codes(codes), encoding(space.frame(codes))
    np.testing.assert_array_equal(by_codes.numbers, by_frame.numbers)
    np.testing.assert_array_equal(by_codes.levels, by_frame.levels)


def test_an_inactive_number_is_equally_far_from_every_active_one(mixed_plan):
    # Hutter & Osborne (2013): the centre of the arc.
    space = Space(mixed_plan)
    encoding = Encoding(space)
    shared = {"layer": 0.1, "wall": 0.8}
    active = [{"process": "resin", "cure_time": float(t), **shared} for t in (0, 20, 40)]
    points = encoding(space.rows([*active, {"process": "filament", "nozzle": 200, **shared}]))
    place = encoding.owner == encoding.inputs.index("cure_time")
    apart = np.linalg.norm(points.numbers[:3, place] - points.numbers[3, place], axis=1)
    np.testing.assert_allclose(apart, apart[0])
    assert apart[0] > 0.5


@pytest.mark.parametrize(
    ("formula", "kept"),
    [
        ("wall", False),
        ("25.4 - 3 * wall", False),
        ("wall ** 2", False),  # a straight line in the logarithms
        ("log(wall)", False),
        ("2 * cure_time + 1", False),  # exists where the cure time does
        ("wall / layer", True),
        ("wall - wall ** 3 / 0.9", True),  # rises, then falls
        ("abs(wall - 0.8)", True),
        ("wall if process == 'resin' else 0.4", True),
    ],
)
def test_a_derived_quantity_that_repeats_a_variable_is_no_input(mixed_plan, formula, kept):
    plan = Plan.from_dict({**mixed_plan.to_dict(), "derived": {"twin": {"formula": formula}}})
    assert ("twin" in Encoding(Space(plan)).inputs) == kept


def test_a_derived_quantity_that_repeats_another_is_no_input(mixed_plan):
    derived = {"layers": {"formula": "wall / layer"}, "twin": {"formula": "100 * layers"}}
    plan = Plan.from_dict({**mixed_plan.to_dict(), "derived": derived})
    inputs = Encoding(Space(plan)).inputs
    assert ("layers" in inputs, "twin" in inputs) == (True, False)
