"""Samples: different, printable, balanced over choices, more even than chance."""

from __future__ import annotations

import itertools
from collections import Counter

import numpy as np
import pytest
from scipy.stats import qmc

from experiments.plan import Plan
from experiments.sampling import points
from experiments.space import Space

KNOB = {"kind": "continuous", "low": 0, "high": 1}


def space_of(variables, **rules):
    return Space(
        Plan.from_dict(
            {
                "name": "s",
                "variables": variables,
                "rules": rules,
                "metrics": {"y": {"goal": "minimise"}},
            }
        )
    )


def choice(*levels, **more):
    return {"kind": "choice", "levels": list(levels), **more}


def cube(number):
    return {f"x{i}": KNOB for i in range(number)}


def spread(numbers):
    lowest, highest = min(numbers), max(numbers)
    return highest - lowest


def counts(frame, *names):
    levels = [frame[name].map(str) for name in names]
    return Counter(zip(*levels, strict=True))


# -- even ------------------------------------------------------------------------------------


def test_points_are_those_of_scrambled_sobol():
    drawn = points(8, 3, np.random.default_rng(0))
    assert drawn.shape == (8, 3)
    # Every eighth of every axis holds exactly one point: a (0, 3, 1)-net in base 2 on each axis.
    for axis in drawn.T:
        assert sorted(np.floor(axis * 8).astype(int)) == list(range(8))
    assert not np.isclose(drawn, points(8, 3, np.random.default_rng(1))).any()
    assert points(1, 2, np.random.default_rng(0)).shape == (1, 2)
    assert points(5, 2, np.random.default_rng(0)).shape == (5, 2)


@pytest.mark.parametrize("number", [12, 16, 33, 64])
def test_discrepancy_is_well_below_that_of_chance(number):
    space = space_of(cube(4))
    rng = np.random.default_rng(3)
    chance = [qmc.discrepancy(rng.random((number, 4)), method="CD") for _ in range(40)]
    ours = [
        qmc.discrepancy(space.sample_codes(number, seed) / 100, method="CD") for seed in range(10)
    ]
    assert np.mean(ours) < 0.6 * np.mean(chance)
    assert max(ours) < np.quantile(chance, 0.25)


@pytest.mark.parametrize("number", [5, 9, 10, 20, 50])
def test_every_knob_is_covered_evenly_at_any_number(number):
    space = space_of(cube(3))
    for seed in range(3):
        codes = space.sample_codes(number, seed)
        for column in codes.T:  # as a Latin hypercube: one value in each of n equal parts
            for part, code in enumerate(sorted(column)):
                assert part * 101 // number <= code <= (part + 1) * 101 // number


def test_each_branch_is_covered_by_itself():
    space = space_of({"p": choice("a", "b"), **cube(2)})
    frame = space.sample(32, seed=4)
    for _, branch in frame.groupby("p"):
        assert len(branch) == 16
        for name in ("x0", "x1"):
            per_quarter = np.histogram(branch[name], bins=4, range=(0, 1.01))[0]
            assert all(3 <= number <= 5 for number in per_quarter)


# -- balanced --------------------------------------------------------------------------------


@pytest.mark.parametrize("number", range(1, 25))
def test_levels_are_balanced_at_any_number(number):
    space = space_of({"p": choice("a", "b"), "q": choice("r", "s", "t"), **cube(2)})
    for seed in range(3):
        frame = space.sample(number, seed)
        assert len(frame) == number
        for name, levels in (("p", 2), ("q", 3)):
            per_level = [
                (frame[name] == level).sum() for level in space.plan.variables[name].levels
            ]
            assert spread(per_level) <= 1, (name, per_level)
            assert len(per_level) == levels
        cells = counts(frame, "p", "q")
        per_cell = [cells[cell] for cell in itertools.product("ab", "rst")]
        assert spread(per_cell) <= 1


def test_four_of_two_levels_is_two_and_two():
    space = space_of({"process": choice("resin", "filament"), **cube(3)})
    for seed in range(20):
        assert counts(space.sample(4, seed), "process") == {("resin",): 2, ("filament",): 2}


def test_nested_choices_get_their_share_of_their_branch():
    space = space_of(
        {
            "wash": choice("once", "twice", "thrice", only_when={"process": ["resin"]}),
            "process": choice("resin", "filament"),
            "brim": choice("yes", "no", only_when={"process": ["filament"]}),
            **cube(2),
        }
    )
    for seed in range(5):
        frame = space.sample(12, seed)
        assert counts(frame, "process") == {("resin",): 6, ("filament",): 6}
        assert Counter(frame["wash"].dropna()) == {"once": 2, "twice": 2, "thrice": 2}
        assert Counter(frame["brim"].dropna()) == {"yes": 3, "no": 3}


def test_many_levels_are_all_different_before_any_repeats():
    space = space_of({"p": choice(*"abcdefghij"), **cube(1)})
    for seed in range(5):
        assert space.sample(7, seed)["p"].nunique() == 7
        assert space.sample(10, seed)["p"].nunique() == 10


def test_which_level_gets_the_odd_one_changes_with_the_seed():
    space = space_of({"p": choice("a", "b"), **cube(1)})
    firsts = {space.sample(1, seed)["p"].iloc[0] for seed in range(20)}
    assert firsts == {"a", "b"}


def test_balance_survives_rules_that_hit_one_branch_hard():
    space = space_of(
        {"p": choice("a", "b"), **cube(3)}, hard="p == 'b' or (x0 < 0.2 and x1 < 0.2)"
    )
    for seed in range(3):
        frame = space.sample(10, seed)
        assert counts(frame, "p") == {("a",): 5, ("b",): 5}
        assert space.printable(frame).all()


def test_balance_of_nested_choices_survives_rules():
    space = space_of(
        {
            "wash": choice("once", "twice", "thrice", only_when={"process": ["resin"]}),
            "process": choice("resin", "filament"),
            "brim": choice("yes", "no", only_when={"process": ["filament"]}),
            **cube(2),
        },
        half="x0 + x1 <= 0.7",
        uneven="x0 < 0.1 if wash == 'twice' else True",
    )
    for seed in range(5):
        frame = space.sample(12, seed)
        assert space.printable(frame).all()
        assert counts(frame, "process") == {("resin",): 6, ("filament",): 6}
        assert Counter(frame["wash"].dropna()) == {"once": 2, "twice": 2, "thrice": 2}
        assert Counter(frame["brim"].dropna()) == {"yes": 3, "no": 3}


def test_levels_alternate_and_take_turns_under_rules_too():
    space = space_of({"p": choice("a", "b"), **cube(2)}, half="x0 + x1 <= 1")
    for seed in range(5):  # so that the first few of a longer list are balanced, nearly
        assert space.sample(40, seed)["p"].iloc[:10].nunique() == 2
    rare = space_of({"p": choice("a", "b"), **cube(2)}, rare="x0 + x1 <= 0.1")
    assert {rare.sample(1, seed)["p"].iloc[0] for seed in range(20)} == {"a", "b"}


def test_what_a_rule_forbids_altogether_goes_to_the_others():
    space = space_of(
        {"p": choice("a", "b", "c"), "x": {"kind": "integer", "low": 0, "high": 3}, **cube(1)},
        never="p != 'b'",
        few="p != 'c' or (x == 0 and x0 == 0.5)",
    )
    frame = space.sample(20, seed=1)
    assert counts(frame, "p") == {("a",): 19, ("c",): 1}


# -- different, repeatable, complete ------------------------------------------------------------


def test_the_same_seed_draws_the_same_and_another_does_not():
    space = space_of({"p": choice("a", "b"), **cube(3)}, rule="x0 + x1 <= 1")
    again = space_of({"p": choice("a", "b"), **cube(3)}, rule="x0 + x1 <= 1")
    assert space.sample(9, 5).equals(again.sample(9, 5))
    assert not space.sample(9, 5).equals(space.sample(9, 6))


@pytest.mark.parametrize("number", [1, 2, 17, 23, 24, 25, 1000])
def test_small_spaces_are_given_without_repetition_and_completely(number):
    space = space_of({"p": choice("a", "b"), "n": {"kind": "integer", "low": 0, "high": 11}})
    frame = space.sample(number, seed=2)
    assert len(frame) == min(number, 24)
    assert not frame.duplicated().any()


def test_few_recipes_in_a_large_space_are_all_found():
    # 12 recipes of a million: x0 = x1 = x2 <= 0.11
    space = space_of(cube(3), a="x0 == x1", b="x1 == x2 and x0 <= 0.11")
    frame = space.sample(20, seed=0)
    assert len(frame) == 12
    assert sorted(frame["x0"]) == [round(0.01 * k, 2) for k in range(12)]
    assert len(space.sample(5, seed=0)) == 5


def test_nothing_asked_for_is_nothing_given():
    assert space_of(cube(2)).sample_codes(0, 0).shape == (0, 2)


def test_single_values_and_single_levels():
    space = space_of({"p": choice("only"), "q": choice("a", "b")})
    assert sorted(space.sample(5, 0)["q"]) == ["a", "b"]


def test_samples_are_drawn_from_all_over_the_printable_part():
    space = space_of(cube(2), half="x0 + x1 <= 1")
    frame = space.sample(200, seed=3)
    # The triangle has its centroid at a third; 0.03 is far above the error of 200 even points.
    assert frame["x0"].mean() == pytest.approx(1 / 3, abs=0.03)
    assert frame["x1"].mean() == pytest.approx(1 / 3, abs=0.03)
    assert (frame.max() > 0.85).all()
