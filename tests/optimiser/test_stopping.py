"""When to stop."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit, front, outlook, propose
from optimiser.answer_tables import outlook_table
from optimiser.continuation import continuation
from tests.functions import branin_problem, hartmann6_problem
from tests.optimiser.test_trading import trade_plan, trade_trials


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


def test_more_cones_gain_more_and_never_beyond_the_best_printable_recipe():
    problem = hartmann6_problem()
    result = outlook(problem.plan, problem.trials(20, 0.05, seed=1), seed=0)
    ahead = result.continuation
    assert ahead["more"].tolist() == list(range(9))
    assert ahead["gain"].iloc[0] == 0.0
    assert (np.diff(ahead["gain"]) >= 0).all()
    # Each further cone is expected to add less than the one before.
    assert (np.diff(ahead["gain"], 2) <= 1e-9).all()
    # A metric to minimise: the best falls, and does not fall below what is possible.
    assert (np.diff(ahead["best"]) <= 0).all()
    assert (ahead["best"] >= ahead["ceiling"] - 1e-9).all()
    assert result.plate.mean == ahead["gain"].iloc[4] > ahead["gain"].iloc[1]
    assert ahead["gain"].iloc[1] == pytest.approx(result.gain.mean, rel=0.5)
    assert "A plate of 4 chosen now" in result.text


def test_where_each_draw_is_known_the_gain_of_a_set_is_its_expected_maximum():
    # Four recipes, draws of their own; the expected maximum by numpy alone.
    plan = Plan.from_dict(
        {
            "name": "few",
            "variables": {"x": {"kind": "integer", "low": 0, "high": 3}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    trials = pd.DataFrame({"x": [0, 1, 2], "y": [1.0, 1.2, 0.9], "status": "measured"})
    model = fit(plan, trials)
    utility = np.random.default_rng(0).standard_normal((4000, 4)) * [0.1, 1.0, 2.0, 0.5]
    codes = np.arange(4, dtype=np.int32)[:, None]
    found = continuation(model, codes, utility, utility[:, :1], seed=0)
    for more, chosen in ((1, [0, 2]), (2, [0, 2, 1]), (3, [0, 2, 1, 3])):
        expected = utility[:, chosen].max(axis=1).mean()
        assert found["best"].iloc[more] == pytest.approx(expected, abs=0.02)
    assert found["ceiling"].iloc[0] == pytest.approx(utility.max(axis=1).mean())


def test_the_next_cone_tells_its_effort():
    plan = Plan.from_dict(
        {
            "name": "line",
            "variables": {"x": {"kind": "integer", "low": 0, "high": 10}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
            "effort": {"minutes": "60 + x", "money": "2", "currency": "EUR"},
        }
    )
    recipes = Space(plan).enumerate(11).iloc[:8]
    trials = recipes.assign(y=recipes["x"] * 1.0 - 0.2 * (recipes["x"] % 3), status="measured")
    result = outlook(plan, trials, seed=0)
    assert 60 <= result.minutes <= 70
    assert result.money == 2
    assert f"takes {result.minutes:.0f}\xa0min and 2.00\xa0EUR" in result.text


@pytest.mark.parametrize(
    ("cones", "wanted"),
    [
        (range(1, 9), "No recipe was printed twice and no cone heard twice, so"),
        ([1, 2, 3, 4, 5, 6, 7, 7], "No recipe was printed twice, so"),
        (None, ""),
    ],
)
def test_a_repeatability_that_nobody_measured_is_said_to_be_assumed(cones, wanted):
    plan = flat_plan()
    trials = pd.DataFrame({"x": range(8), "y": np.sin(np.arange(8.0)), "status": "measured"})
    if cones is None:  # one printed twice
        trials = pd.concat([trials, trials.iloc[[0]].assign(y=0.1)]).assign(cone=range(1, 10))
    else:
        trials = trials.assign(cone=cones)
        trials.loc[7, "x"] = trials["x"][6] if trials["cone"][7] == 7 else 7
    found = outlook(plan, trials)
    notes = [note for note in found.notes if "printed twice" in note]
    assert [note.startswith(wanted) for note in notes] == ([True] if wanted else [])
    assert found.assumed == bool(wanted) == ("an assumed repeatability of" in found.text)
    rows = [row[0] for row in outlook_table(found).rows]
    assert ("repeatability (sd), assumed" in rows) == found.assumed


def flat_plan() -> Plan:
    return Plan.from_dict(
        {
            "name": "eight",
            "variables": {"x": {"kind": "integer", "low": 0, "high": 9}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )


def test_a_plan_that_trades_speaks_of_its_front():
    plan = trade_plan()
    trials = trade_trials(plan, 8)
    model = fit(plan, trials)
    found = outlook(plan, trials, model=model)
    told = front(plan, trials, model=model)
    (pick,) = propose(plan, trials, 1, model=model)
    assert found.verdict == "no verdict"
    assert found.volume == told.volume
    # The pick's gain is the mean over the same draws of what it adds.
    assert found.added.mean == pytest.approx(pick.gain, rel=0.02)
    assert 0 <= found.added.low <= found.added.mean <= found.added.high
    assert "of the box from poor to good; the best next cone is expected to add" in found.text
    assert "score" not in found.text
    waiting = pd.concat([trials, trials.iloc[:1].assign(**pick.settings, status="planned")])
    planned = outlook(plan, waiting.assign(cone=range(1, 10)), seed=0)
    assert planned.added.mean == pytest.approx(found.added.mean, rel=0.5)


def test_a_plan_that_trades_cannot_tell_at_first():
    plan = trade_plan()
    found = outlook(plan, trade_trials(plan, 1))
    assert found.verdict == "cannot tell yet"
    assert not found.volume.known
