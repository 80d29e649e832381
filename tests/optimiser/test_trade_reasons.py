"""Why a pick of a trading plan was chosen, in the maker's words."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit, propose
from optimiser.answers import Estimate, Member
from optimiser.hypervolume import hypervolume
from optimiser.trade_reasons import added_text, against_text
from tests.optimiser.test_trading import LIGHT, STIFF, trade_plan, trade_trials


def estimates(stiff: float, light: float) -> dict[str, Estimate]:
    return {
        "stiff": Estimate(stiff, stiff - 0.05, stiff + 0.05, 8),
        "light": Estimate(light, light - 0.5, light + 0.5, 8),
    }


@pytest.mark.parametrize(
    ("stiff", "light", "words"),
    [
        (0.8, 3.6, "it gains in stiff (0.60 to 0.80) and gives up light (3.0 to 3.6 g)"),
        (0.5, 2.0, "it gains in light (3.0 to 2.0 g) and gives up stiff (0.60 to 0.50)"),
        (
            0.8,
            2.0,
            "it gains in stiff (0.60 to 0.80) and light (3.0 to 2.0 g) and gives up nothing",
        ),
        (
            0.5,
            3.6,
            "it gives up stiff (0.60 to 0.50) and light (3.0 to 3.6 g); what it may gain is not "
            "known yet",
        ),
        (0.61, 3.0, "it is expected to be an equal"),
    ],
)
def test_what_is_gained_and_what_is_given_up(stiff, light, words):
    model = fit(trade_plan(), trade_trials(trade_plan(), 8), seed=0)
    member = Member(["4", "9"], {}, estimates(0.6, 3.0), {}, 0.9)
    said = against_text(model, member, estimates(stiff, light)).replace("\xa0", " ")
    assert said == f"against cone 4, on the front, {words}"


def test_what_is_added_carries_its_interval_and_what_there_is():
    said = added_text(Estimate(0.031, 0.0, 0.11, 8), Estimate(0.61, 0.55, 0.67, 8))
    assert said == (
        "to add 0.03 (0.00 to 0.11) to the hypervolume of the front, which is 0.61 (0.55 to 0.67) "
        "of the box from poor to good"
    )


@pytest.mark.parametrize("count", [0, 2, 4, 6, 14])
def test_no_reason_speaks_of_a_score(count):
    plan = trade_plan()
    trials = trade_trials(plan, max(count, 1)).iloc[:count]
    picks = propose(plan, trials, 3)
    assert len({tuple(pick.settings.items()) for pick in picks}) == 3
    for pick in picks:
        assert "score" not in pick.why
    if count >= 4:
        assert {pick.kind for pick in picks} <= {"improve", "explore"}
        for pick in picks:
            assert pick.gain > 0
            assert "to the hypervolume of the front" in pick.why
            assert f"against cone {pick.departs_from}, on the front, it" in pick.why
            assert "by changing" in pick.why
            assert 0 <= pick.exploration <= 1


def test_values_that_are_not_there_yet_are_no_score_either():
    plan = trade_plan()
    for lacking in (["light"], ["stiff", "light"]):
        trials = trade_trials(plan, 6).assign(**dict.fromkeys(lacking, np.nan))
        for pick in propose(plan, trials, 2):
            assert "score" not in pick.why


def test_when_all_is_printed_the_surest_of_the_front_is_repeated():
    plan = Plan.from_dict(
        {
            "name": "few",
            "goal": "trade",
            "variables": {"a": {"kind": "integer", "low": 0, "high": 5}},
            "metrics": {"stiff": STIFF, "light": LIGHT},
        }
    )
    recipes = Space(plan).enumerate(10)
    trials = recipes.assign(
        stiff=[0.1, 0.3, 0.5, 0.7, 0.6, 0.5],
        light=[1.0, 1.5, 2.0, 2.5, 4.5, 4.9],
        status="measured",
        cone=range(1, 7),
    )
    first, second = propose(plan, trials, 2)
    assert first.kind == second.kind == "confirm"
    assert first.settings != second.settings
    assert first.settings["a"] in (0, 1, 2, 3)
    assert "score" not in first.why
    assert f"(cone {first.departs_from}, on the front with probability" in first.why
    assert first.departs_from == first.settings["a"] + 1


def test_picks_spread_over_the_front():
    # From few cones, the picks of a plate cover more than one side of the trade.
    plan = trade_plan()
    trials = trade_trials(plan, 10, noise=0.01)
    picks = propose(plan, trials, 6)
    stiff = np.array([pick.expected["stiff"].mean for pick in picks])
    assert np.ptp(stiff) > 0.3


@pytest.mark.slow
def test_a_few_cones_cover_most_of_what_can_be_covered():
    plan = trade_plan()
    grid = Space(plan).enumerate(20_000)

    def true_rises(recipes: pd.DataFrame) -> np.ndarray:
        a, b, c = (recipes[name].to_numpy(dtype=float) for name in "abc")
        loss = (b - 0.4) ** 2
        light = 1 + 4 * a**2 + 2 * loss + 0.5 * (c - 0.7) ** 2
        return np.column_stack([np.sqrt(a) - loss, (5 - light) / 4])[None]

    known = float(hypervolume(true_rises(grid))[0])
    trials = trade_trials(plan, 6, noise=0.01)
    for cone in range(7, 19):
        pick = propose(plan, trials)[0]
        row = Space(plan).rows([pick.settings])
        stiff, light = true_rises(row)[0, 0]
        heard = row.assign(stiff=stiff, light=5 - 4 * light, status="measured", cone=cone)
        trials = pd.concat([trials, heard], ignore_index=True)
    reached = float(hypervolume(true_rises(trials))[0])
    even = float(hypervolume(true_rises(Space(plan).sample(18, seed=0)))[0])
    assert reached > 0.95 * known
    assert reached > even
