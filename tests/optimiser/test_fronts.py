"""The front of metrics that pull apart."""

from __future__ import annotations

import dataclasses

import moocore
import numpy as np
import pandas as pd
import pytest

from experiments.errors import PlanError
from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit
from optimiser.fronts import expected_values, front, standing
from tests.optimiser.test_trading import LIGHT, NEAR, STIFF, trade_plan, trade_trials


def test_the_front_is_told_with_chances_and_volume():
    plan = trade_plan()
    trials = trade_trials(plan, 16)
    answer = front(plan, trials, seed=0)
    assert answer.metrics == ["stiff", "light"]
    assert len(answer.members) == 16
    assert answer.volume.cones == answer.cones == 16
    assert answer.volume.low < answer.volume.mean < answer.volume.high
    # The measured values' own front, by moocore; noise is 3 % of the way from poor to good.
    rises = np.column_stack([trials["stiff"], (5 - trials["light"]) / 4])
    outside = moocore.hypervolume(rises, ref=[0, 0], maximise=True)
    assert answer.volume.low - 0.02 < outside < answer.volume.high + 0.05
    on = moocore.is_nondominated(rises, maximise=True)
    chance = {int(each.cones[0]): each.chance for each in answer.members}
    chances = np.array([chance[cone] for cone in trials["cone"]])
    assert chances[on].mean() > 0.6 > 0.2 > chances[~on].mean()
    # The best in the first metric first; positions are what poor and good make of the values.
    means = [each.positions["stiff"].mean for each in answer.members]
    assert means == sorted(means, reverse=True)
    for each in answer.members:
        light, place = each.expected["light"], each.positions["light"]
        assert place.mean == pytest.approx((5 - light.mean) / 4, abs=0.02)
        assert light.low < light.mean < light.high
        assert 0 <= each.chance <= 1
    likely = [each.cones[0] for each in answer.members if each.chance >= 0.5]
    assert answer.text.startswith(
        f"{len(likely)} of 16 measured recipes are probably on the front between stiff and light: "
        f"cones {likely[0]}, {likely[1]}, "
    )
    assert "The front covers 0." in answer.text
    assert answer.text.endswith("of the box from poor to good (90 %, 16 cones).")


def test_it_repeats_exactly_and_takes_a_fitted_model():
    plan = trade_plan()
    trials = trade_trials(plan, 8)
    one, two = front(plan, trials, seed=3), front(plan, trials, seed=3)
    assert one.members == two.members
    given = front(plan, trials, seed=3, model=fit(plan, trials, seed=3))
    assert given.members == one.members


def test_metrics_can_be_named_where_more_have_a_goal():
    plan = trade_plan(metrics={"stiff": STIFF, "light": LIGHT, "near": NEAR})
    trials = trade_trials(plan, 8)
    answer = front(plan, trials, between=["light", "stiff"])
    pair = trade_plan()
    alone = front(pair, trials.drop(columns="near"))
    assert answer.metrics == alone.metrics == ["stiff", "light"]
    assert [each.chance for each in answer.members] == [each.chance for each in alone.members]
    with pytest.raises(PlanError, match="found nothing, expected metrics with a goal: stiff"):
        front(plan, trials, between=["nothing", "stiff"])
    with pytest.raises(PlanError, match="between: found 1 metric, expected two or three"):
        front(plan, trials, between=["stiff"])
    metrics = {"stiff": STIFF, "light": LIGHT, "near": NEAR, "far": LIGHT}
    four = trade_plan(metrics=metrics, goal="score")
    with pytest.raises(PlanError, match="of them as between: stiff, light, near, far"):
        front(four, trials)


def test_better_than_good_is_said_with_what_to_do():
    plan = trade_plan(metrics={"stiff": {**STIFF, "good": 0.3}, "light": LIGHT})
    answer = front(plan, trade_trials(trade_plan(), 10))
    (note,) = [each for each in answer.notes if "better than good (0.3)" in each]
    assert note.startswith("stiff: ")
    assert "move `good` in the plan further out" in note
    assert answer.volume.mean > 1
    assert "times the box from poor to good, over 1 because" in answer.text


def test_replicates_are_one_recipe():
    plan = trade_plan()
    trials = trade_trials(plan, 6)
    again = trials.iloc[[2]].assign(cone=7)
    answer = front(plan, pd.concat([trials, again], ignore_index=True))
    assert sorted(each.cones for each in answer.members)[2] == ["3", "7"]
    assert len(answer.members) == 6


def test_a_target_is_reached_from_either_side():
    plan = trade_plan(metrics={"stiff": STIFF, "near": NEAR})
    answer = front(plan, trade_trials(plan, 12))
    high = [each.positions["near"].high for each in answer.members]
    assert max(high) <= 1.0
    values = [each.expected["near"].mean for each in answer.members]
    assert min(values) < 0.5 < max(values)


def test_a_plan_with_a_score_has_a_front_too():
    plan = trade_plan()
    trials = trade_trials(plan, 8)
    scored = dataclasses.replace(plan, goal="score")
    assert front(scored, trials).members == front(plan, trials).members


@pytest.mark.parametrize(
    ("metrics", "found"),
    [
        ({"stiff": STIFF, "light": {"goal": "watch"}}, "1 metric with a goal"),
        (
            {"stiff": STIFF, "light": LIGHT, "near": NEAR, "four": STIFF},
            "4 metrics with a goal",
        ),
    ],
)
def test_one_metric_or_four_have_no_front(metrics, found):
    plan = Plan.from_dict({**trade_plan().to_dict(), "goal": "score", "metrics": metrics})
    with pytest.raises(PlanError, match=f"metrics: found {found}, expected two or three"):
        front(plan, pd.DataFrame({"a": [], "b": [], "c": []}))


@pytest.mark.parametrize("count", [0, 2])
def test_too_few_cones_cannot_tell(count):
    plan = trade_plan()
    trials = trade_trials(plan, max(count, 1)).iloc[:count]
    answer = front(plan, trials)
    assert answer.members == []
    assert not answer.volume.known
    assert answer.text.startswith("Cannot tell yet where the front lies: ")
    assert f"{count} measured cones" in answer.text


def test_a_metric_that_lacks_values_is_named():
    plan = trade_plan()
    trials = trade_trials(plan, 6)
    trials.loc[2:, "light"] = np.nan
    answer = front(plan, trials)
    assert "3 measured values of light are needed" in answer.text
    trials = trade_trials(plan, 6)
    trials.loc[:2, "light"] = np.nan
    trials.loc[3:, "stiff"] = np.nan
    answer = front(plan, trials)
    assert "no cone has a value of each metric" in answer.text


def test_no_recipe_under_a_limit_is_on_the_front():
    plan = trade_plan(metrics={"stiff": STIFF, "light": {**LIGHT, "limit": "<= 3"}})
    trials = trade_trials(plan, 12)
    heavy = {str(cone) for cone in trials.loc[trials["light"] > 3.4, "cone"]}
    assert heavy
    answer = front(plan, trials)
    assert max(each.chance for each in answer.members if each.cones[0] in heavy) < 0.05


def test_the_step_is_what_the_expected_values_add():
    plan = trade_plan()
    model = fit(plan, trade_trials(plan, 10), seed=0)
    stand = standing(model)
    assert stand is not None
    for member in stand.members:
        assert stand.step(member.expected) == pytest.approx(0, abs=1e-12)
        if member.chance > 0.5:
            assert stand.neighbour(member.expected) is member
    row = Space(plan).rows([{"a": 0.5, "b": 0.4, "c": 0.7}])
    itself = expected_values(model, model.encoding(row))[0]
    means = [(each.expected["stiff"].mean, each.expected["light"].mean) for each in stand.members]
    before = np.array([(s, (5 - light) / 4) for s, light in means])
    new = [itself["stiff"].mean, (5 - itself["light"].mean) / 4]
    sizes = [
        moocore.hypervolume(points, ref=[0, 0], maximise=True)
        for points in (before, np.vstack([before, new]))
    ]
    assert stand.step(itself) == pytest.approx(sizes[1] - sizes[0])
    assert stand.step(itself) > 0
