"""Two cones of one recipe: what they gave, against what such cones usually differ by."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from experiments.plan import Plan
from optimiser import compare, fit
from optimiser.twins import twins


def printed(sessions: list[str], level: list[float]) -> tuple[Plan, pd.DataFrame]:
    """Recipes printed twice each, the second print `level` dB above the first."""
    metric = {"from": "hand", "unit": "dB", "goal": "maximise", "poor": 70, "good": 90}
    plan = Plan.from_dict(
        {
            "name": "twins",
            "variables": {"x": {"kind": "integer", "low": 1, "high": 40}},
            "metrics": {"level": metric},
        }
    )
    values = [80 + (copy * apart) for apart in level for copy in (0, 1)]
    rows = range(len(values))
    table = pd.DataFrame({"x": [1 + 2 * (row // 2) for row in rows], "level": values})
    table["session"] = [sessions[row % len(sessions)] for row in rows]
    return plan, table.assign(status="measured", cone=[row + 1 for row in rows])


def test_what_is_usual_is_what_nine_of_ten_differences_of_two_normals_hold():
    """Of 18 pairs that all share one mean: by the differences' root mean square, and scipy."""
    away = np.random.default_rng(3).normal(scale=np.sqrt(2), size=18)
    plan, table = printed(["may"], away.tolist())
    (found,) = twins(fit(plan, table), ("1", "2"))
    assert found.difference == pytest.approx(-away[0])
    spread = np.sqrt(np.mean(away**2))
    assert found.usual == pytest.approx(stats.norm(0, spread).interval(0.9)[1], rel=0.2)


def test_a_comparison_of_two_prints_tells_them_and_no_zeros():
    away = [4.0, *(0.1 * (-1) ** place for place in range(9))]
    plan, table = printed(["may"], away)
    a = b = {"x": 1}
    told = compare(plan, table, a, b, names=("cone 1", "cone 2"), cones=("1", "2"))
    assert told.same
    assert told.power == {}
    assert "differ by more than such cones usually do in level (-4" in told.text
    other = compare(plan, table, {"x": 3}, {"x": 3}, names=("cone 3", "cone 4"), cones=("3", "4"))
    assert "no more than such cones do in all" in other.text


def test_cones_of_two_sessions_may_differ_more_and_unheard_ones_tell_nothing():
    away = np.random.default_rng(3).normal(scale=0.3, size=18)
    sessions = {}
    for names in (["may"], ["may", "june"]):
        plan, table = printed(names, (away + 2.0 * (len(names) > 1)).tolist())
        sessions[len(names)] = twins(fit(plan, table), ("1", "2"))[0].usual
    assert sessions[2] > 2 * sessions[1]
    assert twins(fit(plan, table), ("1", "99")) == []
