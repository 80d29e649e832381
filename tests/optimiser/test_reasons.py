"""Why a cone was picked: one plain sentence in the maker's words."""

from __future__ import annotations

import dataclasses

import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit
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
    assert said.startswith("Mostly to learn: nothing like wall 5 mm has been measured (nearest: ")


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
    assert "1 measured cone carries no score yet" in said
    assert "(s)" not in said


def test_a_score_says_what_it_is_of():
    said = why(TRIALS, wall=1.0, cure=0.0, resin="clear")
    assert "the recipe itself is expected to have a score of 0.8 (" in said


@pytest.mark.parametrize(("error", "doubted"), [(2.0, True), (0.5, False)])
def test_a_metric_that_is_not_foretold_carries_its_warning(error, doubted, monkeypatch):
    """Two metrics; the one that carries the improvement misses by as much as it spreads."""
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
    model = fit(plan, trials, seed=0)
    checks = [dataclasses.replace(each, error=error, spread=2.0) for each in model.calibration()]
    monkeypatch.setattr(type(model), "calibration", lambda _self: checks)
    said = describe(model, Space(plan).rows([{"wall": 10.0}]), "improve", None, 6).why
    assert "mostly through ease (" in said
    warning = "mm; not foretold yet: typical miss 2.0 of a spread of 2.0"
    assert (warning in said.replace("\xa0", " ")) == doubted
