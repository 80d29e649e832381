"""Why a cone was picked: one plain sentence in the maker's words."""

from __future__ import annotations

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
