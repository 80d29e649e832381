"""One recipe as a person gives it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.errors import RecipeError
from experiments.plan import Plan
from experiments.space import Space
from tests.examples import examples

PLAN = Plan.from_dict(
    {
        "name": "c",
        "variables": {
            "gloss": {"kind": "choice", "levels": ["yes", "no"], "only_when": {"wash": ["twice"]}},
            "process": {"kind": "choice", "levels": ["resin", "filament", "0.4"]},
            "wash": {
                "kind": "ordered", "levels": ["once", "twice"],
                "only_when": {"process": ["resin"]},
            },
            "wall": {"kind": "continuous", "low": 0.2, "high": 1, "step": 0.1},
            "ribs": {"kind": "integer", "low": 0, "high": 8, "step": 2},
            "layer": {"kind": "ordered", "levels": [0.05, 0.1]},
        },
        "rules": {"walls": "wall >= 4 * layer", "glossy": "ribs > 0 if gloss == 'yes' else True"},
        "metrics": {"y": {"goal": "minimise"}},
    }
)  # fmt: skip
GOOD = {"process": "filament", "wall": 0.4, "ribs": 2, "layer": 0.1}


@pytest.fixture(scope="module")
def space():
    return Space(PLAN)


def problems_of(space, off_grid=False, **settings):
    with pytest.raises(RecipeError) as caught:
        space.complete(settings, off_grid=off_grid)
    return caught.value.problems


def test_a_good_recipe_comes_back_in_plan_order_with_plain_types(space):
    shuffled = dict(reversed(GOOD.items()))
    found = space.complete(shuffled)
    assert list(found.items()) == list(GOOD.items())
    assert [type(value) for value in found.values()] == [str, float, int, float]


@pytest.mark.parametrize(
    "change",
    [
        {"wall": "0.4"}, {"wall": "0,4"}, {"wall": " 0.4 "}, {"wall": np.float64(0.4)},
        {"ribs": "2"}, {"ribs": 2.0}, {"ribs": np.int64(2)}, {"process": " filament "},
        {"wall": 0.1 * 4}, {"wash": None}, {"wash": ""}, {"wash": float("nan")},
    ],
)  # fmt: skip
def test_ways_of_writing_the_same(space, change):
    assert space.complete(GOOD | change) == GOOD


def test_levels_that_look_like_numbers(space):
    for written in ("0.4", 0.4):
        assert space.complete(GOOD | {"process": written})["process"] == "0.4"


@pytest.mark.parametrize(
    ("change", "where", "found", "expected", "remedy"),
    [
        ({"wal": 3}, "wal", "an unknown variable", "a variable of the plan", "'wall'"),
        ({"zzz": 3}, "zzz", "an unknown variable", "a variable of the plan", "Known: gloss"),
        ({"wall": 0.45}, "wall", "0.45", "a printable value", "Nearest: 0.4 and 0.5."),
        ({"wall": 3}, "wall", "3", "a printable value", "Nearest: 1."),
        ({"wall": "thick"}, "wall", '"thick"', "a printable value", "Write a number"),
        ({"ribs": 3}, "ribs", "3", "a printable value", "Nearest: 2 and 4."),
        ({"layer": 0.07}, "layer", "0.07", "a printable value", "Nearest: 0.05 and 0.1."),
        ({"process": "resn"}, "process", '"resn"', "a level", "Did you mean 'resin'?"),
        ({"process": "Resin"}, "process", '"Resin"', "a level", "Did you mean 'resin'?"),
        ({"wall": None}, "wall", "nothing", "a value", ""),
        ({"wash": "once"}, "wash", '"once"', "no value", "only when process is resin"),
        ({"gloss": "no"}, "gloss", '"no"', "no value", "only when wash is twice"),
        ({"process": "resin"}, "wash", "nothing", "a value", "because process is resin"),
        ({"wall": 0.3}, "rules.walls", "layer = 0.1, wall = 0.3", "wall >= 4 * layer", ""),
        ({"wall": True}, "wall", "true", "a printable value", "Write a number"),
        ({"wall": "1e999"}, "wall", '"1e999"', "a printable value", ""),
    ],
)  # fmt: skip
def test_each_slip_is_one_problem(space, change, where, found, expected, remedy):
    (problem,) = problems_of(space, **GOOD | change)
    assert problem.where == where
    assert found in problem.found
    assert expected in problem.expected
    assert remedy in problem.remedy


def test_every_slip_is_reported_at_once(space):
    found = problems_of(space, process="filament", wash="once", wall=0.45, zzz=1, layer=0.1)
    assert {p.where for p in found} == {"wash", "wall", "zzz", "ribs"}


def test_a_wrong_parent_says_nothing_about_its_children(space):
    (problem,) = problems_of(space, **GOOD | {"process": "resn", "wash": "once"})
    assert problem.where == "process"
    missing = {key: value for key, value in GOOD.items() if key != "process"}
    (problem,) = problems_of(space, **missing | {"wash": "twice", "gloss": "no"})
    assert problem.where == "process"


def test_one_parent_that_says_no_is_enough():
    pair = {"kind": "integer", "low": 0, "high": 1}
    space = Space(
        Plan.from_dict(
            {
                "name": "p",
                "variables": {"a": pair, "b": pair, "c": pair | {"only_when": {"a": 1, "b": 1}}},
                "metrics": {"y": {"goal": "minimise"}},
            }
        )
    )
    found = problems_of(space, a=0, b=9, c=1)
    assert {(p.where, p.expected) for p in found} == {
        ("b", "a printable value"), ("c", "no value")
    }  # fmt: skip


def test_conditions_two_levels_down(space):
    deep = GOOD | {"process": "resin", "wash": "twice", "gloss": "no"}
    assert space.complete(deep) == deep
    (problem,) = problems_of(space, **GOOD | {"process": "resin", "wash": "twice"})
    assert problem.where == "gloss"


def test_rules_with_inactive_variables_hold(space):
    assert space.complete(GOOD | {"ribs": 0})["ribs"] == 0
    deep = {"process": "resin", "wash": "twice", "gloss": "yes", "ribs": 0}
    (problem,) = problems_of(space, **GOOD | deep)
    assert problem.where == "rules.glossy"


def test_a_print_that_differed(space):
    found = space.complete(GOOD | {"wall": 0.1234, "layer": "0,07", "ribs": 3}, off_grid=True)
    assert (found["wall"], found["layer"], found["ribs"]) == (0.1234, 0.07, 3)
    assert type(found["ribs"]) is int
    # Neither ends nor rules bind what has happened already; types and words still do.
    assert space.complete(GOOD | {"wall": 7.5}, off_grid=True)["wall"] == 7.5
    for change, where in (
        ({"ribs": 2.5}, "ribs"),
        ({"wall": "thick"}, "wall"),
        ({"wall": float("inf")}, "wall"),
        ({"process": "card"}, "process"),
        ({"wash": "once"}, "wash"),
        ({"wall": None}, "wall"),
    ):
        (problem,) = problems_of(space, off_grid=True, **GOOD | change)
        assert problem.where == where


WILD = st.one_of(
    st.none(), st.booleans(), st.integers(-(10**400), 10**400), st.floats(), st.text(max_size=4),
    st.binary(max_size=2), st.lists(st.integers(), max_size=2), st.sampled_from(["resin", "0,4"]),
)  # fmt: skip


@settings(max_examples=examples(150), deadline=None)
@given(
    st.dictionaries(st.sampled_from([*PLAN.variables, "other", "x y"]), WILD),
    st.booleans(),
)
def test_wild_values_are_refused_or_made_plain(changes, off_grid):
    space = Space(PLAN)
    try:
        found = space.complete(GOOD | changes, off_grid=off_grid)
    except RecipeError as error:
        problems = [str(problem) for problem in error.problems]
    else:
        problems = []
        assert space.complete(found, off_grid=off_grid) == found
        assert {type(value) for value in found.values()} <= {str, float, int}
    assert all(problems)


def test_no_settings_at_all(space):
    assert {p.where for p in problems_of(space)} == {"process", "wall", "ribs", "layer"}
