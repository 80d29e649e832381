"""The plan that a new experiment starts with: it works, and it teaches every key."""

from __future__ import annotations

import re
import tomllib

import pytest

from experiments.acoustics import catalogue
from experiments.expressions import Expression
from experiments.grammar import FUNCTIONS
from experiments.plan import Plan
from experiments.plan_schema import (
    AgeingKeys,
    DerivedKeys,
    EffortKeys,
    FileKeys,
    MetricKeys,
    PlanKeys,
    RigKeys,
    SessionsKeys,
    VariableKeys,
)
from experiments.space import Space
from experiments.template import PLAN_TEMPLATE


def test_it_is_a_valid_plan_with_printable_recipes():
    plan = Plan.from_text(PLAN_TEMPLATE)
    space = Space(plan)
    frame = space.sample(8, seed=1)
    assert len(frame) == 8
    assert space.printable(frame).all()
    assert space.effort(frame).notna().all(axis=None)
    assert any(variable.only_when for variable in plan.variables.values())
    assert plan.derived
    assert plan.rules
    assert len(plan.metrics) >= 3


@pytest.mark.parametrize(
    "model",
    [
        *(PlanKeys, VariableKeys, DerivedKeys, MetricKeys, EffortKeys, SessionsKeys, AgeingKeys),
        *(RigKeys, FileKeys),
    ],
)
def test_every_key_is_mentioned(model):
    for name, field in model.model_fields.items():
        key = field.alias or name
        used = rf"(?m)^(# )?{key} = |^\# ?\[?\[?{key}\b|[\[.]{key}[\].]"
        assert re.search(used, PLAN_TEMPLATE), f"{model.__name__}: {key}"


def test_every_function_and_measure_is_mentioned():
    for word in (*FUNCTIONS, *catalogue.KINDS, "continuous", "integer", "ordered", "choice"):
        assert re.search(rf"\b{word}\b", PLAN_TEMPLATE), word
    listed = re.search(r"metric's own name\): (.*?decay)\.", PLAN_TEMPLATE.replace("\n# ", " "))[1]
    named = listed.replace("hd2..hd5", "hd2, hd3, hd4, hd5").split(", ")
    assert {catalogue.resolve(name).name for name in named} == {
        name for name, measure in catalogue.MEASURES.items() if "hand" not in measure.kinds
    }


def test_the_examples_in_remarks_work_when_uncommented():
    lines = []
    for line in PLAN_TEMPLATE.splitlines():
        example = re.match(r"# (\[(metrics|rig)[\w.]+\]|\w+ = .*)", line)
        prose = line.startswith(("# kind = ", "# from = ", "# goal = "))
        lines.append(line[2:] if example and not prose else line)
    plan = Plan.from_text("\n".join(lines))
    started = Plan.from_text(PLAN_TEMPLATE)
    assert set(plan.metrics) - set(started.metrics) == {"thd_peak"}
    assert plan.note == "Started in spring."
    assert plan.variables["wall_thickness"].scale == "log"
    assert set(plan.rules) - set(started.rules) == {"thick_walls_print_coarse"}
    assert plan.metrics["upper_limit"].options["smooth"] == 12
    assert plan.metrics["breakup"].shape == 2
    assert plan.sessions.reference_cone == 1
    assert plan.rig["response"]["decimal"] == ","
    assert plan.rig["sweep"]["rate"] == 48000
    assert Space(plan).sample(4, seed=0).shape[0] == 4


def test_the_cautions_stand_before_anything_else():
    head = PLAN_TEMPLATE[: PLAN_TEMPLATE.index("\nname = ")].lower()
    for word in ("uncured resin", "solvent", "uv", "hot nozzles", "fumes", "dust", "tones",
                 "mains", "safety data sheets", "local rules", "licensed"):  # fmt: skip
        assert word in head.replace("\n# ", " "), word


def test_formulas_in_the_template_are_what_they_say():
    plan = Plan.from_text(PLAN_TEMPLATE)
    known = {name: variable.words for name, variable in plan.variables.items()} | {"mass": None}
    money = Expression(plan.effort.money, known)
    assert money.names == {"mass", "process"}
    assert tomllib.loads(PLAN_TEMPLATE)["effort"]["assume"] == {"mass": 2.0}
