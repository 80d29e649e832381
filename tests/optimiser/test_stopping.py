"""When to stop."""

from __future__ import annotations

import numpy as np
import pandas as pd

from experiments.plan import Plan
from experiments.space import Space
from optimiser import outlook, propose
from tests.functions import branin_problem, hartmann6_problem


def test_an_unexplored_problem_goes_on():
    problem = hartmann6_problem()
    result = outlook(problem.plan, problem.trials(12, 0.05, seed=1), seed=0)
    assert result.verdict == "go on"
    assert result.gain.mean > 0
    assert set(result.within) == {0.01, 0.02, 0.05}
    assert result.within[0.01] <= result.within[0.05]


def test_a_finished_problem_stops():
    plan = Plan.from_dict(
        {
            "name": "line",
            "variables": {"x": {"kind": "integer", "low": 0, "high": 10}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    recipes = Space(plan).enumerate(11).iloc[:-1]
    rng = np.random.default_rng(0)
    y = 100 - (recipes["x"] - 4) ** 2 + 0.5 * rng.standard_normal(len(recipes))
    trials = recipes.assign(y=y, status="measured", cone=np.arange(1, 11))
    result = outlook(plan, trials, seed=0)
    assert result.verdict == "stop"
    assert result.best in (4, 5, 6)
    assert result.within[0.05] > 0.9


def test_history_is_the_best_so_far():
    problem = branin_problem()
    trials = problem.trials(10, 0.0, seed=1)
    history = outlook(problem.plan, trials, seed=0).history
    np.testing.assert_allclose(history["best"], np.minimum.accumulate(trials["y"]))
    assert history["cones"].tolist() == list(range(1, 11))


def test_little_to_gain_from_one_cone_is_not_yet_nearly_there():
    # Strong noise: no single cone promises much, and yet the best may be far.
    problem = hartmann6_problem()
    found = [
        outlook(problem.plan, problem.trials(14, 2.5, seed=seed), seed=seed) for seed in range(4)
    ]
    slow = [each for each in found if each.gain.mean < 0.5 * each.repeatability]
    assert slow
    for each in slow:
        assert each.within[0.05] < 0.6
        assert each.verdict == "go on"
        assert "No single cone" in each.text


def test_planning_a_cone_changes_nothing():
    problem = branin_problem()
    trials = problem.trials(14, 1.0, seed=1)
    before = outlook(problem.plan, trials, seed=0)
    pick = propose(problem.plan, trials, seed=0)[0]
    planned = pd.DataFrame([{**pick.settings, "status": "planned"}])
    after = outlook(problem.plan, pd.concat([trials, planned], ignore_index=True), seed=0)
    assert after.text == before.text
    assert after.gain == before.gain


def test_a_leader_that_cannot_be_told_from_the_best_is_nearly_there():
    # Two flat ends differ by 8 % of the best, and one print from another by 10 %.
    plan = Plan.from_dict(
        {
            "name": "flat",
            "variables": {"x": {"kind": "integer", "low": 0, "high": 3}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    rng = np.random.default_rng(3)
    x = np.repeat([0, 1, 2, 3], 3)
    trials = pd.DataFrame({"x": x, "y": 1 + 0.1 * rng.standard_normal(12), "status": "measured"})
    result = outlook(plan, trials, seed=0)
    assert result.alike >= result.within[0.05]
    assert result.alike > 0.6
    assert result.verdict in ("nearly there", "stop")
    assert "within what repeats" in result.text
