"""What can be wrong with a variable."""

from __future__ import annotations

import pytest

from experiments.plan_schema import Problems
from experiments.plan_variables import read_variables

KNOB = {"kind": "continuous", "low": 0, "high": 1}


def read_one(**keys):
    problems = Problems()
    return read_variables({"x": keys}, problems).get("x"), problems


def problem_of(**keys):
    variable, problems = read_one(**keys)
    assert variable is None
    (problem,) = problems
    return problem


@pytest.mark.parametrize(
    ("keys", "where", "found", "expected"),
    [
        (dict(kind="continuous", low=2, high=1), "low", "low = 2, high = 1", "low below high"),
        (dict(kind="continuous", low=1, high=1), "low", "low = 1, high = 1", "low below high"),
        (dict(kind="continuous", low=0), "high", "nothing", "a number"),
        (dict(kind="continuous", high=0), "low", "nothing", "a number"),
        (dict(kind="integer", low=0.5, high=2), "low", "0.5", "whole number"),
        (dict(kind="integer", low=0, high=2.5), "high", "2.5", "whole number"),
        (dict(kind="integer", low=0, high=2, step=0.5), "step", "0.5", "whole number"),
        (dict(kind="integer", low=0, high=5, step=2), "step", "step = 2", "reach high = 5"),
        (dict(kind="continuous", low=0, high=1, step=0.3), "step", "step = 0.3", "reach high = 1"),
        (dict(kind="continuous", low=0, high=1, step=2), "step", "2", "at most high - low = 1"),
        (dict(kind="continuous", low=0, high=1e6, step=1e-3), "step", "1,000,000,000", "100,001"),
        (dict(kind="integer", low=0, high=10**9), "step", "1,000,000,000", "100,001"),
        (dict(kind="continuous", low=0, high=1e300, step=1e-300), "step", "countless", "at most"),
        (dict(kind="continuous", low=-1e308, high=1e308), "high", "1e+308", "smaller range"),
        (dict(kind="continuous", low=1e16, high=1e16 + 4), "", "values from", "wider range"),
        (dict(kind="continuous", low=0, high=1, scale="log"), "low", "0", "above 0"),
        (dict(kind="integer", low=-1, high=1, scale="log"), "low", "-1", "above 0"),
        (dict(kind="continuous", low=0, high=1, levels=[1]), "levels", "levels", "low and high"),
        (dict(kind="choice"), "levels", "nothing", "a list of levels"),
        (dict(kind="choice", levels=[]), "levels", "an empty list", "a list of levels"),
        (dict(kind="choice", levels=["a"], low=1), "low", "low", "levels for kind"),
        (dict(kind="ordered", levels=["a"], step=1), "step", "step", "levels for kind"),
        (dict(kind="choice", levels=["a", "b", "a"]), "levels.2", '"a" twice', "once"),
        (dict(kind="choice", levels=[0.4, "0.4"]), "levels.1", '"0.4" twice', "once"),
        (dict(kind="ordered", levels=[1, 1.0]), "levels.1", "1 twice", "once"),
        (dict(kind="ordered", levels=[1, 3, 2]), "levels", "[1, 3, 2]", "from low to high"),
        (dict(kind="ordered", levels=[1, "b"]), "levels", '[1, "b"]', "only words or only"),
        (dict(kind="choice", levels=["a", True]), "levels.1", "true", "a word or a number"),
        (dict(kind="choice", levels=["a", [1]]), "levels.1", "[1]", "a word or a number"),
        (dict(kind="ordered", levels=[1, float("nan")]), "levels.1", "nan", "a number"),
        (dict(kind="choice", levels=["a", " b"]), "levels.1", '" b"', "without spaces"),
        (dict(kind="choice", levels=["a", ""]), "levels.1", '""', "without spaces"),
        (dict(kind="choice", levels=["a", "b"], scale="log"), "scale", "log", "linear"),
        (dict(kind="ordered", levels=[0, 1], scale="log"), "scale", "log", "linear"),
        (dict(KNOB, tolerance=-0.1), "tolerance", "-0.1", "at least 0"),
        (dict(KNOB, tolerance=1.5), "tolerance", "1.5", "at most its whole range, 1"),
        (dict(KNOB, tolerance="wide"), "tolerance", '"wide"', "a number"),
        (dict(KNOB, tolerance=float("nan")), "tolerance", "nan", "a finite number"),
        (dict(KNOB, step=0.5, before=0.3), "before", "0.3", "printable"),
        (dict(KNOB, before="high"), "before", '"high"', "printable"),
        (dict(kind="choice", levels=["a"], before="b"), "before", '"b"', "printable"),
        (dict(kind="integer", low=0, high=3, before=1.5), "before", "1.5", "printable"),
        (
            dict(kind="choice", levels=["a"], cautions={"b": "resin"}),
            "cautions.b",
            "b",
            "one of a",
        ),
        (dict(kind="choice", levels=["a"], cautions={"a": "acid"}), "cautions.a", "acid", "resin"),
        (dict(KNOB, cautions={"a": "resin"}), "cautions.a", "a", "a variable with words"),
    ],
)
def test_each_slip_is_one_problem(keys, where, found, expected):
    problem = problem_of(**keys)
    assert problem.where == "variables.x" + (f".{where}" if where else "")
    assert found in problem.found
    assert expected in problem.expected


def test_remedies_name_what_would_fit():
    assert "0.9 or 1.2" in problem_of(**KNOB, step=0.3).remedy
    assert "Nearest: 0 and 0.5" in problem_of(**KNOB, step=0.5, before=0.3).remedy
    assert (
        "Did you mean 'resin'?"
        in problem_of(kind="choice", levels=["resin", "pla"], before="resn").remedy
    )


def test_several_slips_are_all_found():
    _, problems = read_one(kind="integer", low=0.5, high=1.5, step=0.5)
    assert {p.where for p in problems} == {f"variables.x.{k}" for k in ("low", "high", "step")}
    _, problems = read_one(kind="choice", levels=["a", "a", True, ""], low=3)
    assert len(problems) == 4


def test_good_variables():
    variable, problems = read_one(kind="choice", levels=[0.4, 2, 2.5, "x"])
    assert not problems
    assert variable.levels == ("0.4", "2", "2.5", "x")
    variable, _ = read_one(kind="ordered", levels=[1, 2.5], before=1)
    assert variable.levels == (1.0, 2.5)
    assert variable.before == 1.0
    variable, _ = read_one(kind="choice", levels=["only"])
    assert variable.grid.tolist() == ["only"]
    variable, _ = read_one(kind="integer", low=-2, high=4, step=3)
    assert variable.grid.tolist() == [-2, 1, 4]
    variable, _ = read_one(**KNOB, step=1e-5)
    assert len(variable.grid) == 100_001
    variable, _ = read_one(kind="integer", low=1, high=100_001)
    assert len(variable.grid) == 100_001
    assert problem_of(kind="integer", low=0, high=100_001).where == "variables.x.step"
    variable, _ = read_one(kind="ordered", levels=[1, 2.5], tolerance=0.1)
    assert variable.tolerance == 0.1
    variable, problems = read_one(kind="choice", levels=["a", "b"], tolerance=3.0)
    assert not problems  # without effect: words do not stray
    variable, _ = read_one(kind="choice", levels=["a", "b"], cautions={"a": "other"})
    assert variable.cautions == {"a": "other"}


def test_order_is_kept_and_broken_ones_are_left_out():
    problems = Problems()
    section = {"b": KNOB, "a": {"kind": "choice"}, "c": KNOB}
    assert list(read_variables(section, problems)) == ["b", "c"]
    assert len(problems) == 1


@pytest.mark.parametrize(
    ("were", "where"),
    [
        ({"SLA": "resin"}, "variables.process.were.SLA"),
        ({"resin": "filament"}, "variables.process.were.resin"),
        ({"resin": "a", "filament": "a"}, "variables.process.were.resin"),
    ],
)
def test_a_renamed_level_is_one_of_the_plan_and_its_old_name_is_not(were, where):
    section = {"process": {"kind": "choice", "levels": ["resin", "filament"], "were": were}}
    problems = Problems()
    read_variables(section, problems)
    assert problems[0].where == where
