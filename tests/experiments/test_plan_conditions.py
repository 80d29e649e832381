"""Conditions between variables: parents that exist, values they have, no circles."""

from __future__ import annotations

import pytest

from experiments.plan_schema import Problems
from experiments.plan_variables import read_variables

PROCESS = {"kind": "choice", "levels": ["resin", "filament"]}
RIBS = {"kind": "integer", "low": 0, "high": 4}
LAYER = {"kind": "ordered", "levels": [0.05, 0.1, 0.2]}
CURE = {"kind": "continuous", "low": 0, "high": 40, "step": 1}


def read(**section):
    problems = Problems()
    return read_variables(section, problems), problems


def only(keys, **parents):
    return {**keys, "only_when": parents}


def test_parents_of_every_allowed_kind():
    variables, problems = read(
        process=PROCESS,
        ribs=RIBS,
        layer=LAYER,
        cure=only(CURE, process="resin", ribs=[1, 2], layer=[0.1]),
    )
    assert not problems
    assert variables["cure"].only_when == {
        "process": ("resin",), "ribs": (1.0, 2.0), "layer": (0.1,)
    }  # fmt: skip


def test_a_child_may_stand_before_its_parent_and_have_children():
    variables, problems = read(
        gloss=only(PROCESS, wash=["twice"]),
        wash=only({"kind": "choice", "levels": ["once", "twice"]}, process=["resin"]),
        process=PROCESS,
    )
    assert not problems
    assert list(variables) == ["gloss", "wash", "process"]


@pytest.mark.parametrize(
    ("keys", "where", "found", "expected", "remedy"),
    [
        (dict(proces=["resin"]), "proces", "'proces'", "another variable", "'process'"),
        (dict(cure=["resin"]), "cure", "the variable itself", "another variable", ""),
        (dict(process=["resn"]), "process", '"resn"', "a value of process", "'resin'"),
        (dict(process=[3]), "process", "3", "a value of process", "resin, filament"),
        (dict(process=[]), "process", "an empty list", "values of process", ""),
        (dict(process=["resin", "resin"]), "process", '"resin" twice', "once", ""),
        (dict(ribs=[7]), "ribs", "7", "a value of ribs", "Nearest: 4."),
        (dict(ribs=[1.5]), "ribs", "1.5", "a value of ribs", "Nearest: 1 and 2."),
        (
            dict(speed=[1]),
            "speed",
            "'speed', which is continuous",
            "choice, ordered or integer",
            "",
        ),
    ],
)
def test_each_slip_is_one_problem(keys, where, found, expected, remedy):
    _, problems = read(process=PROCESS, ribs=RIBS, speed=CURE, cure=only(CURE, **keys))
    (problem,) = problems
    assert problem.where == f"variables.cure.only_when.{where}"
    assert found in problem.found
    assert expected in problem.expected
    assert remedy in problem.remedy


def test_a_circle_is_one_problem_that_shows_the_way_round():
    _, problems = read(
        a=only(PROCESS, c=["resin"]),
        b=only(PROCESS, a=["resin"]),
        c=only(PROCESS, b=["resin"]),
        d=only(PROCESS, a=["resin"]),
    )
    (problem,) = problems
    assert problem.where == "variables.a.only_when"
    assert problem.found == "a -> c -> b -> a"


def test_two_circles_are_two_problems():
    _, problems = read(
        a=only(PROCESS, b=["resin"]),
        b=only(PROCESS, a=["resin"]),
        c=only(PROCESS, d=["resin"]),
        d=only(PROCESS, c=["resin"]),
    )
    assert [p.where for p in problems] == ["variables.a.only_when", "variables.c.only_when"]


def test_a_diamond_is_no_circle():
    _, problems = read(
        a=PROCESS,
        b=only(PROCESS, a=["resin"]),
        c=only(PROCESS, a=["resin", "filament"]),
        d=only(PROCESS, b=["resin"], c=["resin"]),
    )
    assert not problems


def test_conditions_that_can_never_hold_together():
    _, problems = read(
        process=PROCESS,
        wash=only({"kind": "choice", "levels": ["once", "twice"]}, process=["resin"]),
        gloss=only(CURE, wash=["twice"], process=["filament"]),
    )
    (problem,) = problems
    assert problem.where == "variables.gloss.only_when"
    assert "'process'" in problem.found
    assert "never active" in problem.remedy


def test_a_broken_parent_is_not_held_against_the_child():
    _, problems = read(process={"kind": "choice"}, cure=only(CURE, process=["resin"]))
    assert [p.where for p in problems] == ["variables.process.levels"]


def test_conditions_of_a_broken_child_are_checked_too():
    _, problems = read(process=PROCESS, cure=only({"kind": "choice"}, process=["resn"]))
    assert {p.where for p in problems} == {
        "variables.cure.levels",
        "variables.cure.only_when.process",
    }
