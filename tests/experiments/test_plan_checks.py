"""Names, formulas, effort and the rig: what needs more than one table to be checked."""

from __future__ import annotations

import pytest

from experiments.plan_checks import RESERVED, build, sound_parts

BASE = {
    "name": "n",
    "variables": {
        "wall": {"kind": "continuous", "low": 0.4, "high": 1.2, "step": 0.1},
        "layer": {"kind": "ordered", "levels": [0.1, 0.2]},
        "process": {"kind": "choice", "levels": ["resin", "filament"]},
    },
    "metrics": {"y": {"goal": "minimise"}, "mass": {"from": "hand"}},
}


def problems_of(**sections):
    _, problems = build({**BASE, **sections})
    return problems


def only_problem(**sections):
    (problem,) = problems_of(**sections)
    return problem


def with_variable(name):
    return {"variables": {**BASE["variables"], name: {"kind": "integer", "low": 0, "high": 1}}}


def test_the_base_is_sound():
    assert problems_of() == []


@pytest.mark.parametrize(
    ("name", "expected", "remedy"),
    [
        ("wall thickness", "letters, digits", "Write wall_thickness."),
        ("2nd", "letters, digits", ""),
        ("_x", "letters, digits", "Write x."),
        ("", "letters, digits", ""),
        ("a-b", "letters, digits", "Write a_b."),
        ("\N{MICRO SIGN}m", "letters, digits", ""),
        ("if", "another name", "meaning of its own"),
        ("lambda", "another name", "meaning of its own"),
        ("True", "another name", "meaning of its own"),
        ("min", "another name", "meaning of its own"),
        ("x" * 61, "at most 60", ""),
        *((name, "another name", "table of trials") for name in sorted(RESERVED)),
    ],
)
def test_names_that_cannot_be_used(name, expected, remedy):
    problem = only_problem(**with_variable(name))
    assert problem.where == f"variables.{name}"
    assert expected in problem.expected
    assert remedy in problem.remedy


def test_names_in_other_alphabets_are_fine():
    assert problems_of(**with_variable("Wandstärke")) == []
    assert problems_of(**with_variable("толщина")) == []


def test_a_name_belongs_to_one_thing():
    problem = only_problem(metrics={"wall": {"goal": "minimise"}})
    assert problem.where == "metrics.wall"
    assert problem.remedy == "variables.wall has the same name."
    problem = only_problem(derived={"mass": {"formula": "wall"}})
    assert problem.where == "metrics.mass"


def test_reserved_and_function_names_hold_for_metrics_and_derived_too():
    assert only_problem(metrics={"score": {"goal": "minimise"}}).where == "metrics.score"
    assert only_problem(derived={"max": {"formula": "wall"}}).where == "derived.max"


@pytest.mark.parametrize("section", ["variables", "metrics"])
def test_empty_sections(section):
    problem = only_problem(**{section: {}})
    assert (problem.where, problem.found) == (section, "nothing in it")


# -- formulas --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected", "remedy"),
    [
        ("wall >= 4 * layr", "a comparison", "Did you mean 'layer'?"),
        ("wall = 4", "a comparison", "write =="),
        ("wall + layer", 'such as "a >= 2 * b"', ""),
        ("1 < 2", "names at least one variable", ""),
        ("process == 'resn'", "a comparison", "Did you mean 'resin'?"),
        ("process > 3", "a comparison", "Cannot compare"),
        ("y > 3", "a comparison", "'y' is not a known name"),
        ("", "a comparison", "It is empty."),
        (3, "a comparison in quotes", ""),
        (["wall > 1"], "a comparison in quotes", ""),
        ("__import__('os')", "a comparison", "not a known"),
    ],
)
def test_rules(text, expected, remedy):
    problem = only_problem(rules={"r": text})
    assert problem.where == "rules.r"
    assert expected in problem.expected
    assert remedy in problem.remedy


def test_derived_quantities_may_use_those_above_them():
    chain = {"a": {"formula": "wall / layer"}, "b": {"formula": "a * 2"}}
    assert problems_of(derived=chain, rules={"r": "b > a"}, effort={"minutes": "b"}) == []
    turned = dict(reversed(chain.items()))
    problem = only_problem(derived=turned)
    assert problem.where == "derived.b.formula"
    assert "'a' is not a known name" in problem.remedy
    itself = only_problem(derived={"a": {"formula": "a + 1"}})
    assert itself.where == "derived.a.formula"


def test_a_derived_quantity_is_a_number():
    problem = only_problem(derived={"a": {"formula": "wall > 1"}})
    assert problem.remedy == "Write: 1 if ... else 0."
    assert only_problem(derived={"a": {}}).found == "nothing"


def test_a_broken_derived_quantity_is_reported_once():
    found = problems_of(derived={"a": {"formula": "wall *"}, "b": {"formula": "a"}},
                        rules={"r": "a > 1"}, effort={"money": "a"})  # fmt: skip
    assert [p.where for p in found] == ["derived.a.formula"]


def test_a_broken_variable_is_reported_once_but_other_slips_still_are():
    variables = {**BASE["variables"], "cure": {"kind": "integer", "low": 3, "high": 1}}
    found = problems_of(variables=variables, rules={"r": "cure > wal", "s": "cure > wall"},
                        derived={"d": {"formula": "cure"}})  # fmt: skip
    assert [p.where for p in found] == ["variables.cure.low", "rules.r"]


# -- effort ------------------------------------------------------------------------------------


def test_effort_may_use_variables_derived_hand_metrics_and_assumed_names():
    parts, problems = build(
        BASE
        | {
            "derived": {"d": {"formula": "wall"}},
            "effort": {
                "minutes": "wall + d + mass + price if process == 'resin' else 3",
                "money": 2,
                "currency": "EUR",
                "assume": {"price": 3, "mass": 2.0},
            },
        }
    )
    assert not problems
    assert parts.effort.money == "2"
    assert parts.effort.assume == {"price": 3.0, "mass": 2.0}


@pytest.mark.parametrize(
    ("effort", "where"),
    [
        ({"minutes": "wall + price"}, "effort.minutes"),
        ({"money": "wall > 1"}, "effort.money"),
        ({"money": True}, "effort.money"),
        ({"money": ["wall"]}, "effort.money"),
        ({"assume": {"wall": 3}}, "effort.assume.wall"),
        ({"assume": {"max": 3}}, "effort.assume.max"),
        ({"assume": {"a b": 3}}, "effort.assume.a b"),
        ({"assume": {"price": "3"}}, "effort.assume.price"),
        ({"minute": "3"}, "effort.minute"),
    ],
)
def test_effort_slips(effort, where):
    assert only_problem(effort=effort).where == where


def test_measured_metrics_are_no_part_of_effort():
    metrics = BASE["metrics"] | {"level_db": {}}
    assert only_problem(metrics=metrics, effort={"money": "level_db"}).where == "effort.money"


# -- sessions and rig ----------------------------------------------------------------------------


def test_sessions():
    parts, problems = build(BASE | {"sessions": {"reference_cone": 3}})
    assert not problems
    assert parts.sessions.reference_cone == 3
    assert only_problem(sessions={"reference": 3}).where == "sessions.reference"


def test_rig():
    files = {"response": {"unit": "kHz", "encoding": "latin-1"}, "sweep": {"channel": 2}}
    parts, problems = build(BASE | {"rig": {"files": files}})
    assert not problems
    assert parts.rig == files


@pytest.mark.parametrize(
    ("rig", "where", "remedy"),
    [
        ({"file": {}}, "rig.file", "'files'"),
        ({"files": {"respons": {}}}, "rig.files.respons", "'response'"),
        ({"files": {"hand": {}}}, "rig.files.hand", ""),
        ({"files": {"response": {"column": []}}}, "rig.files.response.column", "'columns'"),
        ({"files": {"response": {"encoding": "klingon"}}}, "rig.files.response.encoding", ""),
        ({"files": {"response": {"delimiter": ";;"}}}, "rig.files.response.delimiter", ""),
        (
            {"files": {"response": {"delimiter": ",", "decimal": ","}}},
            "rig.files.response.delimiter",
            "tell them apart",
        ),
        ({"files": {"response": {"unit": "furlong"}}}, "rig.files.response.unit", ""),
        ({"files": {"response": {"columns": []}}}, "rig.files.response.columns", ""),
        ({"files": {"response": 3}}, "rig.files.response", ""),
        ({"files": {"sweep": {"drive_volts": 0}}}, "rig.files.sweep.drive_volts", ""),
        ({"files": {"sweep": {"sensitivity_dbfs": 94}}}, "rig.files.sweep.sensitivity_dbfs", ""),
    ],
)
def test_rig_slips(rig, where, remedy):
    problem = only_problem(rig=rig)
    assert problem.where == where
    assert remedy in problem.remedy


def test_the_sound_parts_rest_on_nothing_that_is_broken():
    data = {
        **BASE,
        "variables": {
            "sort": {"kind": "choice", "levels": ["a", "b"], "hue": 1},
            "depth": {"kind": "integer", "low": 0, "high": 3, "only_when": {"sort": ["a"]}},
            "wall": {"kind": "integer", "low": 1, "high": 9},
        },
        "derived": {"both": {"formula": "depth + wall"}, "twice": {"formula": "2 * wall"}},
        "rules": {"kept": "twice > 2", "gone": "both > 2", "broken": "wall >"},
        "metrics": {"m": {"from": "hand", "goal": "maximise"}, "n": {"from": "hand", "x": 1}},
    }
    parts, problems = build(data)
    sound = sound_parts(parts, data, problems)
    assert list(sound.variables) == ["wall"]
    assert list(sound.derived) == ["twice"]
    assert list(sound.rules) == ["kept"]
    assert list(sound.metrics) == ["m"]


def test_the_age_at_which_cones_are_judged():
    parts, problems = build({**BASE, "ageing": {"light_hours": 500}})
    assert problems == []
    assert (parts.age.clock, parts.age.at) == ("light_hours", 500.0)
    assert build({**BASE, "ageing": {}})[0].age is None
    assert build(BASE)[0].age is None


@pytest.mark.parametrize(
    ("ageing", "where"),
    [
        ({"light_hours": 500, "age_days": 30}, "ageing"),
        ({"light_hours": 0}, "ageing.light_hours"),
        ({"age_days": -1}, "ageing.age_days"),
        ({"age_days": "long"}, "ageing.age_days"),
        ({"moon_hours": 5}, "ageing.moon_hours"),
        (500, "ageing"),
    ],
)
def test_an_age_that_cannot_be(ageing, where):
    assert only_problem(ageing=ageing).where == where
