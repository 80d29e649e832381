"""Rules that nothing keeps and values that nothing has, against going through every recipe."""

from __future__ import annotations

import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.plan import Plan
from experiments.possible import impossible
from experiments.space import Space
from experiments.template import PLAN_TEMPLATE
from tests.examples import examples

KNOBS = {
    "process": {"kind": "choice", "levels": ["resin", "filament"]},
    "cure": {"kind": "integer", "low": 0, "high": 5, "only_when": {"process": ["resin"]}},
    "layer": {"kind": "ordered", "levels": [0.05, 0.1, 0.2]},
    "wall": {"kind": "continuous", "low": 0.2, "high": 1.0, "step": 0.1},
}


def space_of(rules, knobs=KNOBS):
    metrics = {"m": {"from": "hand", "goal": "maximise"}}
    return Space(
        Plan.from_dict({"name": "p", "variables": knobs, "rules": rules, "metrics": metrics})
    )


def test_a_plan_that_keeps_its_promises_has_no_problem():
    assert impossible(space_of({})) == []
    assert impossible(space_of({"walls": "wall >= 2 * layer"})) == []
    assert impossible(Space(Plan.from_text(PLAN_TEMPLATE))) == []


def test_a_rule_that_is_never_true():
    (problem,) = impossible(space_of({"thin": "wall < 0.1", "walls": "wall >= 2 * layer"}))
    assert problem.where == "rules.thin"
    assert "never true" in problem.found


def test_a_rule_that_says_nothing_is_not_thereby_true():
    (problem,) = impossible(space_of({"cured": "cure > 50"}))
    assert problem.where == "rules.cured"
    (level,) = impossible(space_of({"either": "cure > 50 if process == 'resin' else wall > 0"}))
    assert level.where == "variables.process.levels"


def test_rules_that_exclude_each_other():
    (problem,) = impossible(
        space_of({"thin": "wall <= 0.4", "thick": "wall >= 0.6", "cured": "cure <= 9"})
    )
    assert problem.where == "rules (thin, thick)"
    assert problem.found == "no recipe that keeps them all"


def test_values_that_the_rules_leave_out():
    told = impossible(space_of({"walls": "wall >= 4 * layer and wall > 0.3"}))
    assert [(one.where, one.found) for one in told] == [
        ("variables.wall.low", "the values 0.2, 0.3, which no printable recipe has")
    ]
    (level,) = impossible(space_of({"walls": "wall >= 6 * layer or layer < 0.1"}))
    assert (level.where, level.found) == (
        "variables.layer.levels",
        "the level 0.2, which no printable recipe has",
    )
    assert "walls" in level.remedy


def test_a_level_that_goes_takes_its_child_along_in_one_problem():
    (problem,) = impossible(space_of({"dry": "process == 'filament'"}))
    assert problem.where == "variables.process.levels"
    assert "resin" in problem.found


def test_a_knob_of_one_level():
    knobs = KNOBS | {"wall": {"kind": "ordered", "levels": [0.4]}}
    (problem,) = impossible(space_of({}, knobs))
    assert (problem.where, problem.found) == ("variables.wall.levels", "one level, 0.4")


def test_many_knobs_do_not_take_long():
    knobs = {f"k{n}": {"kind": "continuous", "low": 0, "high": 1, "step": 0.01} for n in range(12)}
    total = " + ".join(knobs)
    start = time.process_time()
    assert impossible(space_of({"sum": f"{total} <= 6"}, knobs)) == []
    impossible(space_of({"sum": f"{total} <= 0.03"}, knobs))
    assert time.process_time() - start < 20


COMPARE = st.tuples(
    st.sampled_from(["cure", "layer * 20", "wall * 5"]),
    st.sampled_from(["<=", ">=", "==", "!="]),
    st.integers(0, 6),
)


@settings(max_examples=examples(60), deadline=None)
@given(st.lists(COMPARE, min_size=1, max_size=3))
def test_agrees_with_going_through_every_recipe(parts):
    space = space_of({f"r{n}": f"{a} {op} {b}" for n, (a, op, b) in enumerate(parts)})
    codes = space.enumerate_codes(100_000)
    told = impossible(space)
    if not len(codes):
        assert any(one.where.startswith("rules") for one in told)
        return
    never = {one.where for one in told if one.where.startswith("rules")}
    free = space_of({}).enumerate_codes(100_000)
    assert never == {
        f"rules.{rule.name}"
        for rule in space.rules
        if not space.rule(rule.name, speaking=True).holds(free).any()
    }
    if never:
        return
    gone = {
        variable.name
        for place, variable in enumerate(space.tree.variables)
        if len(np.setdiff1d(range(len(variable.grid)), codes[:, place]))
    }
    if "resin" in "".join(one.found for one in told):
        gone.discard("cure")
    assert {one.where.split(".")[1] for one in told} == gone


@pytest.mark.parametrize("low", [0.0, 0.5])
def test_what_is_too_large_to_go_through_is_not_claimed(low):
    knobs = {f"k{n}": {"kind": "continuous", "low": 0, "high": 1, "step": 0.001} for n in range(9)}
    tied = " + ".join(f"k{n} ** 2" for n in range(9))
    assert impossible(space_of({"r": f"{tied} >= {low}"}, knobs)) == []
