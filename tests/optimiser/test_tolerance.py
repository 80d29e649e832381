"""What a printer makes of a recipe."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser.tolerance import Straying, strays

PLAN = Plan.from_dict(
    {
        "name": "straying",
        "variables": {
            "process": {"kind": "choice", "levels": ["resin", "filament"], "tolerance": 1.0},
            "wall": {
                "kind": "continuous", "low": 0.4, "high": 1.2, "step": 0.1, "tolerance": 0.05,
            },
            "cure": {
                "kind": "integer", "low": 0, "high": 40, "tolerance": 3.0,
                "only_when": {"process": ["resin"]},
            },
            "dose": {
                "kind": "continuous", "low": 1, "high": 100, "scale": "log", "tolerance": 2.0,
            },
            "nozzle": {"kind": "integer", "low": 190, "high": 250},
        },
        "rules": {"wall_stands": "wall >= 0.5"},
        "metrics": {"y": {"from": "hand", "goal": "maximise"}},
    }
)  # fmt: skip
SPACE = Space(PLAN)
RESIN = {"process": "resin", "wall": 0.8, "cure": 20, "dose": 50.0, "nozzle": 200}
FILAMENT = {"process": "filament", "wall": 0.5, "dose": 1.0, "nozzle": 250}


def test_only_numbers_with_a_tolerance_stray():
    assert [each.name for each in strays(PLAN)] == ["wall", "cure", "dose"]


def test_mean_and_standard_deviation_are_those_of_the_plan():
    made = Straying(PLAN, count=16)(SPACE.rows([RESIN]))
    for name, sd in (("wall", 0.05), ("cure", 3.0), ("dose", 2.0)):
        assert made[name].mean() == pytest.approx(RESIN[name], rel=1e-9)
        assert made[name].std(ddof=0) == pytest.approx(sd, rel=1e-9)
    assert (made["process"] == "resin").all()
    assert (made["nozzle"] == 200).all()


def test_what_is_not_there_stays_away_and_each_recipe_strays_alike():
    straying = Straying(PLAN, count=8)
    made = straying(SPACE.rows([RESIN, FILAMENT]))
    assert len(made) == 16
    assert made["cure"].iloc[8:].isna().all()
    away = made["wall"].to_numpy().reshape(2, 8) - [[0.8], [0.5]]
    np.testing.assert_allclose(away[0], away[1])


def test_nothing_is_made_below_zero_or_half_of_a_log_range():
    made = Straying(PLAN, count=64)(SPACE.rows([FILAMENT, {**RESIN, "cure": 0}]))
    assert made["dose"].min() == 0.5
    assert made["cure"].min() == 0.0
    # Beyond the other ends it may lie: a print does not know of the plan's limits.
    assert Straying(PLAN, count=64)(SPACE.rows([{**RESIN, "cure": 40}]))["cure"].max() > 40


def test_shares_beyond_the_range_and_across_a_rule():
    straying = Straying(PLAN, count=64)
    inside, edge = SPACE.rows([RESIN]), SPACE.rows([{**RESIN, "wall": 0.5, "cure": 40}])
    assert straying.outside(inside) == straying.over_rules(SPACE, inside) == 0.0
    # Half of the walls are thinner than the rule's 0.5, half of the cures longer than 40 min.
    assert straying.over_rules(SPACE, edge) == pytest.approx(0.5, abs=0.04)
    assert 0.45 < straying.outside(edge) < 0.6


def test_the_mean_of_a_wave_is_that_of_a_normal_distribution():
    # E cos(w Z) = exp(-w^2 / 2) for a standard normal Z: its characteristic function.
    wall = Straying(PLAN, count=64).departures[:, 0]
    for wave in (0.5, 1.0, 2.0):
        assert np.cos(wave * wall).mean() == pytest.approx(np.exp(-(wave**2) / 2), abs=0.01)


def test_one_print_is_the_recipe_itself():
    straying = Straying(PLAN, count=1)
    recipes = SPACE.rows([RESIN, FILAMENT])
    assert straying(recipes).equals(recipes)
    assert straying.outside(recipes.iloc[[0]]) == 0.0
