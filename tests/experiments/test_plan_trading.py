"""Plans whose metrics are traded against each other."""

from __future__ import annotations

from experiments.plan import Plan

TRADED = """
name = "two that pull apart"
goal = "trade"
[variables.wall]
kind = "continuous"
low = 0
high = 1
[metrics.stiff]
goal = "maximise"
poor = 0
good = 1
[metrics.mass]
unit = "g"
goal = "minimise"
poor = 5
good = 1
"""


def test_a_plan_can_trade():
    plan = Plan.from_text(TRADED)
    assert plan.goal == "trade"
    assert plan.to_dict()["goal"] == "trade"
    assert Plan.from_dict(plan.to_dict()) == plan
    scored = Plan.from_text(TRADED.replace('goal = "trade"\n', ""))
    assert scored.goal == "score"
    assert scored.digest != plan.digest
    # The default may be written out: it changes nothing.
    assert Plan.from_text(TRADED.replace('"trade"', '"score"')).digest == scored.digest
    assert "goal" not in scored.to_dict()


def test_a_goal_that_does_not_exist_is_refused_with_everything_else():
    wrong = TRADED.replace('"trade"', '"trad"').replace("poor = 5", "")
    _, problems = Plan.examine(wrong)
    assert {problem.where for problem in problems} == {"goal", "metrics.mass.poor"}
    assert "trade" in str(problems[0])
