"""Whole plans: reading, refusing, giving back, and staying what they are."""

from __future__ import annotations

import copy
import pickle
import string
import time

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from experiments.errors import PlanError, Problem
from experiments.plan import Plan
from experiments.template import PLAN_TEMPLATE
from tests.examples import examples

BRANIN = {
    "name": "branin",
    "variables": {
        "x1": {"kind": "continuous", "low": -5, "high": 10},
        "x2": {"kind": "continuous", "low": 0, "high": 15},
    },
    "metrics": {"y": {"from": "hand", "goal": "minimise"}},
}

DESIGN = """
name = "kitchen radio, 65 mm cone"
seed = 7
[variables.process]
kind = "choice"
levels = ["resin", "filament"]
setup_minutes = 25
[variables.cure_time]
kind = "continuous"
unit = "min"
low = 0
high = 40
step = 1
only_when = { process = ["resin"] }
before = 10
[variables.exposure]
kind = "continuous"
low = 1
high = 4
step = 0.5
[variables.irradiance]
kind = "integer"
low = 2
high = 6
[derived.dose]
unit = "mJ/cm2"
formula = "exposure * irradiance"
[rules]
dose_is_enough = "dose >= 4"
[metrics.upper_limit]
from = "response"
measure = "upper_limit"
drop_db = 10
unit = "kHz"
goal = "maximise"
poor = 5.0
good = 14.0
weight = 2
limit = ">= 4.0"
[metrics.mass]
from = "hand"
unit = "g"
[effort]
minutes = "exposure + cure_time"
money = "0.05 * mass"
[sessions]
reference_cone = 1
"""


def problems_of(read, *args):
    with pytest.raises(PlanError) as caught:
        read(*args)
    return caught.value.problems


# -- what a good plan becomes --------------------------------------------------------------------


def test_the_plan_of_the_design():
    plan = Plan.from_text(DESIGN)
    assert (plan.name, plan.seed) == ("kitchen radio, 65 mm cone", 7)
    assert list(plan.variables) == ["process", "cure_time", "exposure", "irradiance"]
    cure = plan.variables["cure_time"]
    assert (cure.kind, cure.unit, cure.low, cure.high, cure.step) == (
        "continuous",
        "min",
        0,
        40,
        1,
    )
    assert cure.only_when == {"process": ("resin",)}
    assert cure.before == 10.0
    assert plan.variables["process"].levels == ("resin", "filament")
    assert plan.variables["process"].setup_minutes == 25
    assert plan.variables["irradiance"].step == 1
    assert plan.derived["dose"].formula == "exposure * irradiance"
    assert plan.derived["dose"].unit == "mJ/cm2"
    assert plan.rules == {"dose_is_enough": "dose >= 4"}
    metric = plan.metrics["upper_limit"]
    assert (metric.source, metric.measure, metric.unit) == ("response", "upper_limit_hz", "kHz")
    assert metric.options == {"drop_db": 10}
    assert (metric.goal, metric.poor, metric.good, metric.weight) == ("maximise", 5, 14, 2)
    assert str(metric.limit) == ">= 4"
    assert metric.shape == 1
    assert (plan.metrics["mass"].source, plan.metrics["mass"].goal) == ("hand", "watch")
    assert plan.effort.minutes == "exposure + cure_time"
    assert plan.effort.money == "0.05 * mass"
    assert plan.sessions.reference_cone == 1


def test_a_plan_used_only_from_python():
    plan = Plan.from_dict(BRANIN)
    assert plan.seed == 0
    assert plan.variables["x1"].grid[[0, -1]].tolist() == [-5.0, 10.0]
    metric = plan.metrics["y"]
    assert (metric.source, metric.measure, metric.unit, metric.poor) == ("hand", "y", "", None)
    without_from = {**BRANIN, "metrics": {"y": {"goal": "minimise"}}}
    assert Plan.from_dict(without_from) == plan


def test_tuples_and_numpy_numbers_are_welcome():
    plain = copy.deepcopy(BRANIN)
    plain["variables"]["c"] = {"kind": "ordered", "levels": [1, 2], "before": 2}
    fancy = copy.deepcopy(plain)
    fancy["seed"] = np.int64(0)
    fancy["variables"]["x1"]["low"] = np.float64(-5)
    fancy["variables"]["x1"]["high"] = np.int32(10)
    fancy["variables"]["c"]["levels"] = (np.float32(1), np.int8(2))
    assert Plan.from_dict(fancy) == Plan.from_dict(plain)
    fancy["variables"]["c"]["levels"] = np.array([1.0, 2.0])
    assert Plan.from_dict(fancy) == Plan.from_dict(plain)


def test_reading_leaves_the_dict_alone():
    given_plan = copy.deepcopy(BRANIN)
    Plan.from_dict(given_plan)
    assert given_plan == BRANIN


# -- content, equality, digest -------------------------------------------------------------------


@pytest.mark.parametrize("text", [DESIGN, PLAN_TEMPLATE], ids=["design", "template"])
def test_to_dict_gives_an_equal_plan_back(text):
    plan = Plan.from_text(text)
    again = Plan.from_dict(plan.to_dict())
    assert again == plan
    assert again.digest == plan.digest
    assert hash(again) == hash(plan)
    assert again.variables == plan.variables
    assert again.metrics == plan.metrics
    assert again.derived == plan.derived
    assert (again.rules, again.effort, again.rig) == (plan.rules, plan.effort, plan.rig)
    assert pickle.loads(pickle.dumps(plan)) == plan == copy.deepcopy(plan)


def test_every_optional_key_survives_the_round_trip():
    full = {
        "name": "all keys",
        "seed": 3,
        "note": "a",
        "variables": {
            "p": {
                "kind": "choice", "levels": ["resin", "b"], "label": "L", "note": "N",
                "per": "plate", "setup_minutes": 2.5, "cautions": {"resin": "resin"},
                "before": "b",
            },
            "x": {
                "kind": "continuous", "low": 1, "high": 8, "scale": "log", "unit": "mm",
                "only_when": {"p": ["resin", "b"]}, "tolerance": 0.02,
            },
            "n": {"kind": "integer", "low": 0, "high": 4, "step": 2, "before": 2},
            "o": {"kind": "ordered", "levels": [0.5, 2]},
        },
        "derived": {"d": {"formula": "n * 2", "unit": "u", "label": "L", "note": "N"}},
        "rules": {"a b": "n > 0"},
        "metrics": {
            "m": {
                "from": "sweep", "measure": "thd_peak", "unit": "", "goal": "target", "good": 1,
                "poor": [0.5, 3], "weight": 2, "shape": 0.5, "limit": "< 4", "label": "L",
                "note": "N", "band": [10, 20.5], "thd_of": "total",
            },
            "r": {
                "from": "response", "measure": "breakup", "unit": "kHz", "goal": "maximise",
                "poor": 1, "good": 2, "prominence_db": 4, "smooth": 12,
            },
            "u": {"from": "impulse", "measure": "upper_limit", "drop_db": 6},
            "hand": {"from": "hand", "unit": "g", "goal": "target", "good": 2, "poor": 1},
        },
        "effort": {"minutes": "n", "money": "hand", "currency": "EUR", "assume": {"hand": 2}},
        "sessions": {"reference_cone": 4},
        "rig": {
            "files": {
                "response": {
                    "columns": ["f", "l"], "unit": "kHz", "decimal": ",", "delimiter": ";",
                    "encoding": "latin-1",
                },
                "sweep": {"channel": 1, "loopback": 2, "rate": 48000, "sweep": "20:20000:10"},
            }
        },
    }  # fmt: skip
    full["metrics"]["m"]["unit"] = "%"
    plan = Plan.from_dict(full)
    assert Plan.from_dict(plan.to_dict()) == plan
    # Each key that is dropped or changed must show in the digest: none is lost on the way.
    for section, table in (
        *((("variables", name), table) for name, table in full["variables"].items()),
        *((("derived", name), table) for name, table in full["derived"].items()),
        *((("metrics", name), table) for name, table in full["metrics"].items()),
        *((("rig", "files", name), table) for name, table in full["rig"]["files"].items()),
        (("effort",), full["effort"]),
        ((), full),
    ):
        for key in set(table) - {"kind", "levels", "low", "high", "formula", "from", "measure",
                                 "name", "variables", "metrics", "derived", "poor", "good",
                                 "goal", "unit"}:  # fmt: skip
            changed = copy.deepcopy(full)
            place = changed
            for part in section:
                place = place[part]
            del place[key]
            if section == ("effort",) and key == "assume":
                continue
            assert Plan.from_dict(changed).digest != plan.digest, (section, key)


def test_layout_does_not_count_but_content_does():
    plan = Plan.from_text(DESIGN)
    assert Plan.from_text("# remark\n" + DESIGN.replace(" = ", "=")) == plan
    assert Plan.from_text(DESIGN.replace("low = 0", "low = 0.0")) == plan
    assert Plan.from_text(DESIGN.replace("weight = 2", "weight = 3")) != plan
    assert Plan.from_text(DESIGN.replace("high = 40", "high = 41")).digest != plan.digest
    assert len(plan.digest) == 64
    assert plan != "a plan"


def test_the_order_of_parents_and_options_does_not_count():
    data = Plan.from_text(DESIGN).to_dict()
    data["variables"]["cure_time"]["only_when"] = {"process": ["resin"], "irradiance": [3]}
    data["metrics"]["upper_limit"] |= {"band": [100, 9000]}
    turned = copy.deepcopy(data)
    turned["variables"]["cure_time"]["only_when"] = {"irradiance": [3], "process": ["resin"]}
    turned["metrics"]["upper_limit"] = dict(reversed(data["metrics"]["upper_limit"].items()))
    assert Plan.from_dict(turned).digest == Plan.from_dict(data).digest


def test_the_order_of_variables_counts():
    turned = {**BRANIN, "variables": dict(reversed(BRANIN["variables"].items()))}
    assert Plan.from_dict(turned) != Plan.from_dict(BRANIN)


def test_a_plan_cannot_be_changed():
    plan = Plan.from_dict(BRANIN)
    with pytest.raises(AttributeError):
        plan.seed = 3
    with pytest.raises(TypeError, match="cannot be changed"):
        plan.variables["x1"] = plan.variables["x2"]
    with pytest.raises(AttributeError):
        plan.variables["x1"].low = 3


# -- files that cannot be read -------------------------------------------------------------------


def test_a_file_is_read_with_or_without_a_byte_order_mark(tmp_path):
    for name, encoding in (("a.toml", "utf-8"), ("b.toml", "utf-8-sig")):
        (tmp_path / name).write_text(DESIGN.replace("kitchen", "küche"), encoding=encoding)
        assert Plan.from_toml(tmp_path / name).name == "küche radio, 65 mm cone"
    assert Plan.from_toml(str(tmp_path / "a.toml")) == Plan.from_toml(tmp_path / "b.toml")


def test_windows_line_ends(tmp_path):
    path = tmp_path / "experiment.toml"
    path.write_bytes(DESIGN.replace("\n", "\r\n").encode())
    assert Plan.from_toml(path) == Plan.from_text(DESIGN)


@pytest.mark.parametrize(
    ("content", "where", "found"),
    [
        (b"", "p.toml", "empty"),
        (b"  \n\n", "p.toml", "empty"),
        (b'name = "x"\nnote = "\xff"\n', "p.toml:2", "not UTF-8"),
        (b"name = \n", "p.toml:1:8", "name ="),
        (b"a = 1\nb = [1,\n", "p.toml:2:end", "b = [1,"),
        (b"a = 1\n\n[variables.x\n", "p.toml:3:13", "[variables.x"),
        (b"a = 1\na = 2\n", "p.toml:2:", "a = 2"),
        (b"a = " + b"[" * 5000, "p.toml", "nested too deeply"),
        (b"a = " + b"9" * 5000, "p.toml", "very many digits"),
        (b"#" * 1_000_001, "p.toml", "very large"),
    ],
)
def test_one_clear_problem_for_a_broken_file(tmp_path, content, where, found):
    path = tmp_path / "p.toml"
    path.write_bytes(content)
    (problem,) = problems_of(Plan.from_toml, path)
    assert isinstance(problem, Problem)
    assert problem.where.startswith(where)
    assert found in problem.found


def test_a_key_given_twice_is_said_plainly(tmp_path):
    path = tmp_path / "p.toml"
    path.write_text("a = 1\na = 2\n")
    (problem,) = problems_of(Plan.from_toml, path)
    assert problem.remedy == "The same key stands further up already."


def test_a_problem_names_the_file_before_its_field(tmp_path):
    path = tmp_path / "experiment.toml"
    text = DESIGN.replace("low = 0\nhigh = 40", "low = 50\nhigh = 40")
    path.write_text(text)
    (problem,) = problems_of(Plan.from_toml, path)
    assert problem.where == "variables.cure_time.low"
    assert str(problem).startswith("experiment.toml, variables.cure_time.low: found low = 50")
    (problem,) = problems_of(Plan.from_text, text)
    assert str(problem).startswith("variables.cure_time.low: found")


def test_missing_file_and_folder(tmp_path):
    (problem,) = problems_of(Plan.from_toml, tmp_path / "none.toml")
    assert "no such file" in problem.found
    assert "coneloop start" in problem.remedy
    (problem,) = problems_of(Plan.from_toml, tmp_path)
    assert problem.found == "a folder"


@pytest.mark.parametrize("data", [None, 3, "plan", ["name"], [("name", "x")]])
def test_what_is_no_table_at_all(data):
    (problem,) = problems_of(Plan.from_dict, data)
    assert "table" in problem.expected


def test_an_endless_dict_is_refused():
    data = copy.deepcopy(BRANIN)
    data["rig"] = data
    (problem,) = problems_of(Plan.from_dict, data)
    assert "nested too deeply" in problem.found


# -- all problems at once ------------------------------------------------------------------------


def test_everything_that_is_wrong_is_reported_at_once():
    text = (
        DESIGN.replace("step = 1\n", "steps = 1\n")
        .replace("low = 1\nhigh = 4", "low = 4\nhigh = 1")
        .replace('"filament"]', '"resin"]')
        .replace("dose >= 4", "dosis >= 4")
        .replace("good = 14.0", "good = 3")
        .replace("[sessions]", "[sesions]")
        .replace("0.05 * mass", "0.05 *")
        .replace("low = 2\nhigh = 6", "low = 2\nhigh = 6\nstep = 3")
    )
    found = {problem.where for problem in problems_of(Plan.from_text, text)}
    assert found == {
        "sesions",
        "variables.process.levels.1",
        "variables.cure_time.steps",
        "variables.exposure.low",
        "variables.irradiance.step",
        "rules.dose_is_enough",
        "metrics.upper_limit.poor",
        "effort.money",
    }


def test_the_message_says_found_expected_and_remedy():
    text = DESIGN.replace("step = 1\n", "steps = 1\n")
    with pytest.raises(PlanError) as caught:
        Plan.from_text(text)
    assert str(caught.value) == (
        "variables.cure_time.steps: found the unknown key 'steps', expected a known key. "
        "Did you mean 'step'?"
    )


def test_one_slip_does_not_make_other_lines_look_wrong():
    text = DESIGN.replace('levels = ["resin", "filament"]', "levels = 3")
    assert [p.where for p in problems_of(Plan.from_text, text)] == ["variables.process.levels"]
    text = DESIGN.replace('formula = "exposure * irradiance"', 'formula = "exposure *"')
    assert [p.where for p in problems_of(Plan.from_text, text)] == ["derived.dose.formula"]
    text = DESIGN.replace('unit = "g"', 'unit = "g"\nunits = 3')
    assert [p.where for p in problems_of(Plan.from_text, text)] == ["metrics.mass.units"]


# -- anything at all -----------------------------------------------------------------------------

KEYS = (
    "name seed note variables derived rules metrics effort sessions rig files kind unit low high "
    "step levels scale only_when before setup_minutes tolerance per cautions label formula from "
    "measure goal poor good weight limit shape drop_db smooth band thd_of prominence_db minutes "
    "money currency assume reference_cone response x y p"
).split()
VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 10**20),
    st.floats(),
    st.sampled_from(
        ["", "x", "y", "choice", "integer", "continuous", "ordered", "log", "maximise", "target",
         "hand", "response", "x > 1", "x + y", "9**9**9", ">= 3", "level", "kHz", "resin"]
    ),
    st.text(string.printable, max_size=5),
    st.just(10**400),
    st.binary(max_size=2),
)  # fmt: skip
JUNK = st.recursive(
    VALUES,
    lambda below: st.one_of(
        st.lists(below, max_size=3), st.dictionaries(st.sampled_from(KEYS), below, max_size=5)
    ),
    max_leaves=20,
)


@settings(max_examples=examples(200), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.dictionaries(st.sampled_from(KEYS[:10]), JUNK, max_size=8))
def test_junk_gives_a_plan_error_and_nothing_else(data):
    with pytest.raises(PlanError) as caught:
        Plan.from_dict(data | {"variables": data.get("variables", 3)})
    assert all(str(problem) for problem in caught.value.problems)


@settings(max_examples=examples(200), deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_a_good_plan_with_one_wild_value_is_read_or_refused(data):
    plan = Plan.from_text(DESIGN).to_dict()
    place, path = plan, []
    while isinstance(place, dict) and place:
        key = data.draw(st.sampled_from(sorted(place)))
        path.append(key)
        if not isinstance(place[key], dict) or data.draw(st.booleans()):
            place[key] = data.draw(JUNK)
            break
        place = place[key]
    try:
        read = Plan.from_dict(plan)
    except PlanError:
        return
    assert Plan.from_dict(read.to_dict()) == read


@settings(max_examples=examples(150), deadline=None)
@given(st.text(st.sampled_from("abxy=\"[]{}.,\n#0123456789 '-_:T\\"), max_size=80))
def test_any_text_is_read_or_refused(text):
    with pytest.raises(PlanError):
        Plan.from_text(text)


def test_a_huge_plan_is_read_in_reasonable_time():
    variables = {
        f"x{i}": {"kind": "continuous", "low": 0, "high": 100, "step": 0.001} for i in range(40)
    }
    begun = time.process_time()
    plan = Plan.from_dict({**BRANIN, "variables": variables})
    assert len(plan.variables["x39"].grid) == 100_001
    assert time.process_time() - begun < 5.0
