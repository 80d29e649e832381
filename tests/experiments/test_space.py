"""The recipes of a plan: how many, in which forms, and which are near."""

from __future__ import annotations

import math
import time

import numpy as np
import pandas as pd
import pytest

from experiments.errors import RecipeError
from experiments.plan import Plan
from experiments.space import Count, Space
from experiments.template import PLAN_TEMPLATE

METRICS = {"y": {"goal": "minimise"}}


def space_of(variables, rules=None, **more):
    data = {"name": "s", "variables": variables, "rules": rules or {}, "metrics": METRICS, **more}
    return Space(Plan.from_dict(data))


def knobs(number, high=1.0):
    return {f"x{i}": {"kind": "continuous", "low": 0, "high": high} for i in range(number)}


# -- how many ------------------------------------


def test_counts_by_combinatorics():
    ascending = {f"r{i}": f"x{i} < x{i + 1}" for i in range(3)}
    assert space_of(knobs(4), ascending).count(200_000_000) == Count(math.comb(101, 4), True)
    assert space_of(knobs(3)).count() == Count(101**3, True)


def test_variables_that_no_rule_ties_together_are_counted_apart():
    space = space_of(knobs(9), {"a": "x0 < x1", "b": "x2 + x3 <= 1"})
    expected = math.comb(101, 2) * math.comb(102, 2) * 101.0**5
    assert space.count() == Count(expected, exact=True)


def test_large_ruled_spaces_are_estimated_and_said_to_be():
    space = space_of(knobs(5), {"sum": "x0 + x1 + x2 + x3 + x4 <= 2"})
    count = space.count(limit=10_000)
    assert not count.exact
    # Stars and bars with an upper end of 100 a knob, by inclusion and exclusion.
    exact = sum((-1) ** k * math.comb(5, k) * math.comb(200 - 101 * k + 5, 5) for k in range(2))
    assert count.number == pytest.approx(exact, rel=0.02)
    assert space.count(limit=10_000) == count


def test_a_poor_estimate_is_replaced_by_an_exact_count():
    space = space_of(knobs(3), {"a": "x0 == x1", "b": "x1 == x2 and x0 <= 0.11"})
    assert space.count(limit=10_000) == Count(12, exact=True)


def test_no_recipe_at_all():
    space = space_of(knobs(4), {"none": "x0 > 2", "some": "x1 > 0.5"})
    assert space.count() == Count(0, exact=True)
    assert space.enumerate_codes(10).shape == (0, 4)
    with pytest.raises(RecipeError, match="no recipe that keeps every rule") as caught:
        space.sample(3, 0)
    assert "none" in caught.value.problems[0].remedy
    assert "some" not in caught.value.problems[0].remedy


def test_an_empty_part_makes_an_estimated_whole_exactly_empty():
    rules = {"none": "x0 > 2", "large": "x1 + x2 + x3 + x4 <= 2"}
    assert space_of(knobs(5), rules).count(limit=1_000) == Count(0, exact=True)
    assert not space_of(knobs(5), {"large": rules["large"]}).count(limit=1_000).exact


def test_astronomic_spaces():
    space = space_of({f"x{i}": {"kind": "integer", "low": 0, "high": 99_999} for i in range(70)})
    assert space.count() == Count(math.inf, exact=True)
    assert space.sample_codes(100, 0).shape == (100, 70)
    wide = {"kind": "integer", "low": 0, "high": 99_999, "only_when": {"p": ["a"]}}
    gated = {"p": {"kind": "choice", "levels": ["a", "b"]}} | {f"x{i}": wide for i in range(70)}
    assert space_of(gated).count() == Count(math.inf, exact=True)


def test_enumerating_too_many_is_refused():
    with pytest.raises(RecipeError, match="more than 1,000 printable recipes"):
        space_of(knobs(3)).enumerate(1_000)
    assert len(space_of(knobs(1)).enumerate(101)) == 101
    with pytest.raises(RecipeError, match="more than 100"):
        space_of(knobs(1)).enumerate(100)


def test_a_billion_recipes_are_as_quick_as_a_dozen():
    variables = knobs(8) | {"p": {"kind": "choice", "levels": ["a", "b"]}}
    space = space_of(variables, {f"r{i}": f"x{i} + x{i + 1} <= 1.2" for i in range(7)})
    begun = time.process_time()
    assert space.count(100_000).number > 1e9
    codes = space.sample_codes(2_000, 0)
    around = space.neighbour_codes(codes[:50])
    assert space.printable_codes(around).all()
    assert time.process_time() - begun < 3.0  # twenty times what it takes, for busy days


# -- forms ------------------------------------

MIXED = {
    "process": {"kind": "choice", "levels": ["resin", "filament", "0.4"]},
    "cure": {
        "kind": "continuous", "low": 0, "high": 40, "step": 5, "only_when": {"process": ["resin"]},
    },
    "ribs": {"kind": "integer", "low": 0, "high": 4},
    "fit": {"kind": "ordered", "levels": ["loose", "tight"], "only_when": {"ribs": [1, 2]}},
}  # fmt: skip


@pytest.fixture(scope="module")
def mixed():
    return space_of(
        MIXED,
        {"few": "ribs <= 3"},
        derived={"heat": {"formula": "cure * 2"}, "stiff": {"formula": "1 / ribs"}},
        effort={"minutes": "cure + ribs", "money": "mass * 2", "assume": {"mass": 3}},
    )


def test_frames_have_plain_types(mixed):
    frame = mixed.frame(np.array([[0, 1, 2, 1], [1, -1, 0, -1]]))
    assert list(frame.columns) == list(MIXED)
    assert [str(frame[name].dtype) for name in frame] == ["object", "float64", "float64", "object"]
    assert frame.iloc[0].tolist() == ["resin", 5.0, 2.0, "tight"]
    assert frame["process"].tolist() == ["resin", "filament"]
    assert np.isnan(frame["cure"][1])
    assert frame["fit"][1] is None
    assert mixed.frame(np.zeros((0, 4), dtype=int)).shape == (0, 4)


def test_settings_are_plain_python(mixed):
    frame = mixed.frame(np.array([[0, 1, 2, 1], [1, -1, 0, -1]]))
    first = mixed.settings(frame.iloc[0])
    assert first == {"process": "resin", "cure": 5.0, "ribs": 2, "fit": "tight"}
    assert [type(value) for value in first.values()] == [str, float, int, str]
    assert mixed.settings(frame.iloc[1]) == {"process": "filament", "ribs": 0}
    row = {"process": "0.4", "ribs": np.int64(3), "cure": None, "other": 3}
    assert mixed.settings(row) == {"process": "0.4", "ribs": 3}


def test_codes_understand_what_tables_hold(mixed):
    frame = pd.DataFrame(
        {
            "cure": [7.4, np.nan, 99.0],
            "extra": [1, 2, 3],
            "fit": pd.array(["tight", None, pd.NA], dtype="string"),
            "ribs": [1, 2, 0],
            "process": ["resin", "filament", 0.4],
        }
    )
    assert mixed.codes(frame).tolist() == [[0, 1, 1, 1], [1, -1, 2, -1], [2, 8, 0, -1]]
    # 7.4 and 99 are not on the grid, and cure is not active for the last
    assert mixed.printable(frame).tolist() == [False, False, False]
    assert mixed.active(frame)["cure"].tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("change", "where", "expected"),
    [
        ({"process": ["card"]}, "row 1, column process", "one of resin, filament, 0.4"),
        ({"ribs": ["many"]}, "column ribs", "numbers"),
    ],
)
def test_tables_that_do_not_fit(mixed, change, where, expected):
    good = {"process": ["resin"], "cure": [5], "ribs": [0], "fit": [None]}
    with pytest.raises(RecipeError) as caught:
        mixed.codes(pd.DataFrame(good | change))
    (problem,) = caught.value.problems
    assert (problem.where, problem.expected) == (where, expected)
    with pytest.raises(RecipeError, match="no such column"):
        mixed.codes(pd.DataFrame(good).drop(columns="cure"))


def test_codes_round_to_the_nearest_value():
    space = space_of({"o": {"kind": "ordered", "levels": [1, 2, 10]}})
    values = [-5, 1, 1.4, 1.5, 1.6, 5.9, 6.1, 99, np.nan]  # half-way goes up
    assert space.codes(pd.DataFrame({"o": values}))[:, 0].tolist() == [0, 0, 0, 1, 1, 1, 2, 2, -1]
    single = space_of({"o": {"kind": "ordered", "levels": [3]}})
    frame = pd.DataFrame({"o": [1.0, 3.0, np.nan]})
    assert single.codes(frame)[:, 0].tolist() == [0, 0, -1]
    assert single.printable(frame).tolist() == [False, True, False]


def test_a_parent_off_its_grid_has_no_children():
    space = space_of(
        {
            "o": {"kind": "ordered", "levels": [1, 2]},
            "c": {"kind": "integer", "low": 0, "high": 1, "only_when": {"o": [1, 2]}},
        }
    )
    frame = pd.DataFrame({"o": [1.0, 1.4, np.nan], "c": [0.0, np.nan, np.nan]})
    assert space.active(frame)["c"].tolist() == [True, False, False]
    assert space.active(frame)["o"].all()


def test_active_codes_forget_what_is_inactive(mixed):
    codes = np.array([[1, 4, 0, 1], [0, 4, 1, 1]])
    assert mixed.active_codes(codes).tolist() == [[1, -1, 0, -1], [0, 4, 1, 1]]
    assert codes.tolist() == [[1, 4, 0, 1], [0, 4, 1, 1]]


def test_rules_hold_in_printable_codes(mixed):
    codes = np.array([[1, -1, 3, -1], [1, -1, 4, -1], [1, 0, 3, -1], [1, -1, 5, -1]])
    assert mixed.printable_codes(codes).tolist() == [True, False, False, False]
    assert mixed.broken_rules({"process": "filament", "ribs": 4}) == ["few"]


def test_derived_quantities_keep_the_index(mixed):
    frame = pd.DataFrame(
        {"process": ["resin", "filament"], "cure": [5.0, None], "ribs": [4, 0], "fit": [None] * 2},
        index=[7, 9],
    )
    derived = mixed.derived(frame)
    assert derived.index.tolist() == [7, 9]
    np.testing.assert_array_equal(derived["heat"], [10, np.nan])
    np.testing.assert_array_equal(derived["stiff"], [0.25, np.nan])


def test_derived_quantities_of_codes_are_those_of_the_frame(mixed):
    codes = mixed.sample_codes(20, seed=1)
    by_frame, by_codes = (
        mixed.derived(mixed.frame(codes)),
        mixed.derived_of_codes(codes, ["stiff"]),
    )
    assert list(by_codes) == ["stiff"]
    np.testing.assert_array_equal(by_codes["stiff"], by_frame["stiff"])


def test_effort(mixed):
    frame = pd.DataFrame(
        {"process": ["resin", "filament"], "cure": [5.0, None], "ribs": [4, 3], "fit": [None] * 2},
        index=[7, 9],
    )
    effort = mixed.effort(frame)
    assert list(effort.columns) == ["minutes", "money"]
    assert effort.index.tolist() == [7, 9]
    assert effort["minutes"].tolist() == [9.0, 3.0]
    assert effort["money"].tolist() == [6.0, 6.0]
    weighed = mixed.effort(frame.assign(mass=[2.5, None]))
    assert weighed["money"].tolist() == [5.0, 6.0]
    nothing = space_of(MIXED).effort(frame)
    assert nothing.isna().all(axis=None)


def test_empty_frames(mixed):
    empty = mixed.frame(np.zeros((0, 4), dtype=np.int32))
    assert mixed.codes(empty).shape == (0, 4)
    assert mixed.printable(empty).shape == (0,)
    assert mixed.active(empty).shape == (0, 4)
    assert mixed.derived(empty).shape == (0, 2)
    assert mixed.effort(empty).shape == (0, 2)
    assert mixed.neighbour_codes(np.zeros((0, 4), dtype=np.int32)).shape == (0, 4)
    assert mixed.printable_codes(np.zeros((0, 4), dtype=np.int32)).shape == (0,)


# -- near ------------------------------------


def test_neighbours_move_one_step_and_fill_in_the_middle(mixed):
    found = mixed.neighbours({"process": "filament", "ribs": 0})
    assert [mixed.settings(row) for _, row in found.iterrows()] == [
        {"process": "resin", "cure": 20.0, "ribs": 0},
        {"process": "0.4", "ribs": 0},
        {"process": "filament", "ribs": 1, "fit": "loose"},
    ]


def test_neighbours_of_a_print_that_differed(mixed):
    found = mixed.neighbours({"process": "resin", "cure": 7, "ribs": 3})
    assert sorted(found[found["ribs"] == 3]["cure"].dropna()) == [0.0, 10.0]


def test_neighbours_of_several_recipes_are_a_set(mixed):
    codes = mixed.enumerate_codes(1000)
    around = mixed.neighbour_codes(codes)
    assert len(np.unique(around, axis=0)) == len(around)
    one_by_one = np.vstack([mixed.neighbour_codes(row[None, :]) for row in codes])
    np.testing.assert_array_equal(np.unique(around, axis=0), np.unique(one_by_one, axis=0))


def test_neighbours_need_a_complete_recipe(mixed):
    with pytest.raises(RecipeError, match="ribs"):
        mixed.neighbours({"process": "filament"})


def test_every_recipe_can_be_reached_by_neighbours():
    space = Space(Plan.from_text(PLAN_TEMPLATE))
    seen = space.sample_codes(1, 0)
    edge = seen
    while len(edge):
        grown = space.tree.unique(np.vstack([seen, space.neighbour_codes(edge)]))
        edge, seen = grown[len(seen) :], grown
    assert len(seen) == space.count().number


def test_neighbours_may_lie_a_share_of_the_range_away():
    grid = space_of(
        {
            "wall": {"kind": "continuous", "low": 0, "high": 100, "step": 1},
            "ribs": {"kind": "integer", "low": 0, "high": 4},
            "ink": {"kind": "choice", "levels": ["red", "blue"]},
        }
    )
    around = grid.frame(grid.neighbour_codes(np.array([[10, 2, 0]]), 0.12))
    assert sorted(around["wall"]) == [10.0, 10.0, 10.0, 22.0]  # -2 is outside
    assert sorted(around["ribs"]) == [1.0, 2.0, 2.0, 3.0]  # a step at least
    assert sorted(around["ink"]) == ["blue", "red", "red", "red"]
