"""Why a cone was picked: one plain sentence in the maker's words."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit, propose
from optimiser.acquisition import NoisyImprovement
from optimiser.answers import Pick
from optimiser.plates import SetUp
from optimiser.reasons import describe

PLAN = Plan.from_dict(
    {
        "name": "corner",
        "variables": {
            "wall": {"kind": "continuous", "unit": "mm", "low": 0, "high": 10, "step": 1},
            "cure": {"kind": "continuous", "unit": "min", "low": 0, "high": 10, "step": 1},
            "resin": {"kind": "choice", "levels": ["clear", "tough"]},
        },
        "metrics": {"loss": {"from": "hand", "goal": "minimise", "poor": 10, "good": 0}},
    }
)
# Every single setting of the far corner was measured, but no two of them together.
TRIALS = pd.DataFrame(
    {
        "cone": [1, 2, 3, 4],
        "wall": [0.0, 10.0, 0.0, 0.0],
        "cure": [0.0, 0.0, 10.0, 0.0],
        "resin": ["clear", "clear", "clear", "tough"],
        "loss": [1.0, 6.0, 6.0, 6.0],
        "status": "measured",
    }
)


def why(trials: pd.DataFrame, kind: str = "improve", known: int = 4, **recipe: object) -> str:
    model = fit(PLAN, trials, seed=0)
    row = Space(PLAN).rows([recipe])
    return describe(model, row, kind, None, known).why.replace("\xa0", " ")


def test_a_setting_like_no_other_is_named():
    said = why(TRIALS, wall=5.0, cure=0.0, resin="clear")
    assert said.startswith(
        "Mostly to learn: no measured cone has wall 5 mm (nearest: 0 mm). It departs "
    )
    assert "from the nearest cone, 1, by changing wall from 0 to 5 mm; the recipe itself" in said


def test_a_setting_within_a_tenth_of_the_range_is_not_called_new():
    said = why(TRIALS, wall=9.0, cure=10.0, resin="clear")
    assert "(nearest" not in said
    assert "no measured cone has wall 9 mm together with cure 10 min" in said


def test_two_settings_that_never_met_are_named():
    said = why(TRIALS, wall=10.0, cure=10.0, resin="clear")
    assert "no measured cone has wall 10 mm together with cure 10 min" in said


def test_where_every_pair_has_met_the_joined_settings_are_named():
    pairs = pd.DataFrame(
        {
            "cone": [5, 6, 7],
            "wall": [10.0, 10.0, 0.0],
            "cure": [10.0, 0.0, 10.0],
            "resin": ["clear", "tough", "tough"],
            "loss": [9.0, 9.0, 9.0],
            "status": "measured",
        }
    )
    said = why(pd.concat([TRIALS, pairs]), wall=10.0, cure=10.0, resin="tough")
    assert "no measured cone joins " in said
    assert "combination" not in said


@pytest.mark.parametrize(
    ("known", "wanted"),
    [(1, "far from the 1 recipe measured"), (3, "far from the 3 recipes measured")],
)
def test_counts_agree_with_their_nouns(known, wanted):
    said = why(TRIALS.iloc[:1], "first", known, wall=5.0, cure=0.0, resin="clear")
    assert wanted in said
    assert "1 measured cone is too few to choose by a model" in said
    assert "(s)" not in said


def test_a_score_says_what_it_is_of():
    said = why(TRIALS, wall=1.0, cure=0.0, resin="clear")
    assert re.search(r"the recipe itself is expected to have a score of 0\.\d+ \(", said)


def two_metrics() -> tuple[Plan, pd.DataFrame]:
    """Give a plan of a metric that no setting changes and one that the wall betters."""
    hand = {"from": "hand", "unit": "mm", "goal": "minimise", "poor": 10, "good": 0}
    plan = Plan.from_dict(
        {
            "name": "corner",
            "variables": {
                "wall": {"kind": "continuous", "unit": "mm", "low": 0, "high": 10, "step": 1},
            },
            "metrics": {"loss": hand, "ease": hand},
        }
    )
    trials = pd.DataFrame(
        {
            "cone": range(1, 7),
            "wall": [0.0, 2.0, 4.0, 6.0, 8.0, 9.0],
            "loss": [5.0, 5.1, 4.9, 5.0, 5.1, 5.0],
            "ease": [9.0, 8.0, 7.0, 6.0, 5.0, 4.5],
            "status": "measured",
        }
    )
    return plan, trials


def test_an_exploring_pick_names_the_metric_that_could_carry_it():
    plan, trials = two_metrics()
    row = Space(plan).rows([{"wall": 10.0}])
    said = describe(fit(plan, trials, seed=0), row, "explore", None, 6).why.replace("\xa0", " ")
    assert "so it may beat cone 6 (score " in said
    assert re.search(
        r"most likely through \w+ \([\d.]+ mm, 90 %: [\d. to]+; cone 6: [\d.]+\)", said
    )


@pytest.mark.parametrize(("error", "doubted"), [(2.0, True), (0.5, False)])
def test_a_metric_that_is_not_foretold_carries_its_warning(error, doubted, monkeypatch):
    """The one that carries the improvement misses by as much as it spreads."""
    plan, trials = two_metrics()
    model = fit(plan, trials, seed=0)
    checks = [dataclasses.replace(each, error=error, spread=2.0) for each in model.calibration()]
    monkeypatch.setattr(type(model), "calibration", lambda _self: checks)
    said = describe(model, Space(plan).rows([{"wall": 10.0}]), "improve", None, 6).why
    assert "mostly through ease (" in said
    warning = "mm; not foretold yet: typical miss 2.0 of a spread of 2.0"
    assert (warning in said.replace("\xa0", " ")) == doubted


SLOPE = {
    "name": "slope",
    "variables": {"wall": {"kind": "continuous", "unit": "mm", "low": 0, "high": 20, "step": 1}},
    "metrics": {"loss": {"from": "hand", "goal": "minimise"}},
    "effort": {"minutes": "30 + wall", "money": "0.1 * wall", "currency": "EUR"},
}


def down_to(wall: int, noise: float = 0.0) -> pd.DataFrame:
    """Give a loss that falls by 1 a millimetre as far as it was measured, steep enough to tell."""
    walls = np.arange(0.0, wall + 1)
    loss = 50 - walls + noise * np.random.default_rng(0).standard_normal(len(walls))
    return pd.DataFrame({"cone": walls + 1, "wall": walls, "loss": loss, "status": "measured"})


def described(trials: pd.DataFrame, wall: float, **more: object) -> Pick:
    plan = Plan.from_dict(SLOPE)
    model = fit(plan, trials, seed=0)
    acquisition = NoisyImprovement(model, model.encoding(model.evidence.known), seed=0)
    row = Space(plan).rows([{"wall": wall}])
    return describe(model, row, "improve", acquisition, len(trials), **more)  # type: ignore[arg-type]


def test_a_sure_improvement_is_no_exploration():
    pick = described(down_to(18), 19.0)
    assert pick.kind == "improve"
    assert pick.gain == pytest.approx(1.0, abs=0.2)
    assert 0.0 <= pick.exploration < 0.1
    assert pick.why.endswith("Hardly any of what it promises lies in what is not known yet.")


def test_a_recipe_that_is_expected_to_be_worse_is_all_exploration():
    pick = described(down_to(12, noise=3.0), 2.0)
    assert (pick.kind, pick.exploration) == ("explore", 1.0)
    assert "All of what it promises lies in what is not known yet." in pick.why


def test_a_recipe_whose_interval_lies_below_the_leader_is_not_said_to_beat_it():
    assert ", so it may beat cone " in described(down_to(12, noise=3.0), 11.0).why
    pick = described(down_to(18), 3.0)
    assert "may beat" not in pick.why
    assert ", beside cone " in pick.why


class Promise:
    """Stands for an acquisition that promises the same gain and step everywhere."""

    def __init__(self, gain: float, step: float) -> None:
        self._gain, self._step = gain, step

    def step(self, points: object) -> np.ndarray:
        return np.array([self._step])

    def gain(self, points: object) -> np.ndarray:
        return np.full((4, 1), self._gain)


@pytest.mark.parametrize(
    ("times", "share", "kind", "words"),
    [
        (1.0, 0.0, "improve", "Hardly any of"),
        (4 / 3, 0.25, "improve", "About a quarter of"),
        (2.0, 0.5, "improve", "About half of"),
        (3.0, 2 / 3, "improve", "About two thirds of"),
        (20.0, 0.95, "explore", "Nearly all of"),
    ],
)
def test_the_share_of_exploration_is_one_less_step_over_gain(times, share, kind, words):
    plan = Plan.from_dict(SLOPE)
    model = fit(plan, down_to(18), seed=0)
    row = Space(plan).rows([{"wall": 19.0}])
    promise = Promise(2.0 * times, 2.0)
    pick = describe(model, row, "improve", promise, 19)  # type: ignore[arg-type]
    assert pick.exploration == pytest.approx(share)
    assert pick.kind == kind
    assert f"{words} what it promises" in pick.why


def test_nothing_promised_is_no_share_of_nothing():
    first = propose(Plan.from_dict(SLOPE), down_to(18).iloc[:0])[0]
    assert (first.kind, np.isnan(first.exploration)) == ("first", True)
    all_tried = propose(Plan.from_dict(SLOPE), down_to(20))[0]
    assert (all_tried.kind, np.isnan(all_tried.exploration)) == ("confirm", True)


@pytest.mark.parametrize(
    ("per", "needed", "words"),
    [
        (None, None, ""),
        ("minutes", None, " Chosen by its gain a minute: it takes 49 min."),
        ("minutes", SetUp(0.0, []), " Chosen by its gain a minute: it takes 49 min, no set-up."),
        (
            "minutes",
            SetUp(25.0, ["wall"]),
            " Chosen by its gain a minute: it takes 74 min, 25 min of set-up included.",
        ),
        ("money", SetUp(25.0, ["wall"]), " Chosen by its gain for each EUR: it costs 1.90 EUR."),
    ],
)
def test_the_effort_that_the_gain_was_divided_by_is_said(per, needed, words):
    said = described(down_to(18), 19.0, per=per, needed=needed).why.replace("\xa0", " ")
    assert said.endswith("lies in what is not known yet." + words)


def test_a_choice_by_effort_reaches_the_sentence():
    pick = propose(Plan.from_dict(SLOPE), down_to(12), per="minutes")[0]
    assert f"it takes {pick.minutes:.0f} min, no set-up." in pick.why.replace("\xa0", " ")


def test_a_second_pick_is_measured_against_the_first():
    """Near the first pick of a plate nothing more is expected, so what is left is exploration."""
    plan, trials = Plan.from_dict(SLOPE), down_to(17, noise=0.3)
    model = fit(plan, trials, seed=0)
    known = model.encoding(model.evidence.known)
    first, second = (Space(plan).rows([{"wall": wall}]) for wall in (20.0, 19.0))
    alone = describe(model, second, "improve", NoisyImprovement(model, known, seed=0), len(trials))
    after = describe(
        model, second, "improve",
        NoisyImprovement(model, known + model.encoding(first), seed=0), len(trials) + 1, mates=1,
    )  # fmt: skip
    assert alone.exploration < 0.4
    assert after.exploration == 1.0
    assert after.gain < alone.gain


def test_a_spread_cone_says_which_lack_it_fills():
    silent = TRIALS.assign(loss=np.nan, other=1.0)
    plan = Plan.from_dict(PLAN.to_dict() | {"metrics": {
        "loss": {"from": "hand", "goal": "minimise", "poor": 10, "good": 0},
        "other": {"from": "hand", "goal": "watch"},
    }})  # fmt: skip
    row = Space(plan).rows([{"wall": 5.0, "cure": 5.0, "resin": "clear"}])
    said = describe(fit(plan, silent), row, "first", None, 4).why
    assert "4 measured cones without a score yet" in said
    said = describe(fit(plan, TRIALS.assign(other=1.0)), row, "first", None, 4).why
    assert "the first ones are spread before a model chooses" in said
