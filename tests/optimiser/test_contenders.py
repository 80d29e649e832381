"""Recipes that may go into production, and which of them differ clearly."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pandas as pd

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit
from optimiser.contenders import (
    clearly_different,
    distance,
    find_contenders,
    measured_recipes,
)
from optimiser.paths import DrawnFunctions

PLAN = Plan.from_dict(
    {
        "name": "three",
        "variables": {
            "process": {"kind": "choice", "levels": ["resin", "filament"]},
            "wall": {"kind": "continuous", "low": 0, "high": 1, "step": 0.1},
            "cure": {
                "kind": "integer", "low": 0, "high": 40, "only_when": {"process": ["resin"]},
            },
            "dose": {"kind": "continuous", "low": 1, "high": 100, "scale": "log"},
        },
        "metrics": {"y": {"from": "hand", "goal": "maximise"},
                    "mass": {"from": "hand", "unit": "g", "goal": "watch", "limit": "<= 3"}},
    }
)  # fmt: skip
RESIN = {"process": "resin", "wall": 0.5, "cure": 20, "dose": 10.0}


def rows(*changes):
    return Space(PLAN).rows([{**RESIN, **each} for each in changes])


def test_distances_are_shares_of_ranges_and_whole_for_words():
    filament = Space(PLAN).rows([{"process": "filament", "wall": 0.5, "dose": 10.0}])
    listed = rows({}, {"wall": 0.8}, {"cure": 40}, {"dose": 100.0}, {"wall": 0.6, "cure": 30})
    away = distance(PLAN, pd.concat([listed, filament], ignore_index=True), 0)
    # The last one differs in a word and lacks the cure.
    np.testing.assert_allclose(away, [0, 0.3, 0.5, 0.5, 0.35, 2.0])


def test_only_what_differs_from_all_before_is_kept():
    listed = rows({}, {"wall": 0.6}, {"wall": 1.0}, {"wall": 0.9}, {"cure": 40}, {"cure": 0})
    assert clearly_different(PLAN, listed, 3).tolist() == [2, 4, 5]
    assert clearly_different(PLAN, listed, 1).tolist() == [2]
    assert clearly_different(PLAN, listed.iloc[:2], 3).tolist() == []


@cache
def model_of(heavy):
    """Resin is better and weighs `heavy` g against a limit of 3, filament 2 g."""
    recipes = Space(PLAN).sample(24, seed=1)
    resin = (recipes["process"] == "resin").to_numpy(dtype=float)
    rng = np.random.default_rng(3)
    y = 2 + resin - (recipes["wall"] - 0.5) ** 2 + 0.02 * rng.standard_normal(24)
    mass = np.where(resin > 0, heavy, 2.0) * np.exp(0.01 * rng.standard_normal(24))
    return fit(PLAN, recipes.assign(y=y, mass=mass, status="measured", cone=range(1, 25)))


@cache
def best_of(heavy):
    """The best recipe and all contenders."""
    return best(model_of(heavy))


def best(model):
    found = find_contenders(model, DrawnFunctions(model), seed=0)
    return found.recipes.iloc[found.order[0]], found


def test_a_recipe_that_breaks_a_limit_is_passed_over():
    assert best_of(2.0)[0]["process"] == "resin"
    assert best_of(4.0)[0]["process"] == "filament"


def test_where_no_recipe_keeps_the_limit_the_nearest_are_taken():
    found = best_of(4.0)[1]
    worse = found.sound * 0.5
    hard = replace(found, sound=worse)
    assert len(hard.order)
    assert worse[hard.order].min() >= 0.95 * worse[hard.printable].max()


def test_every_measured_recipe_is_listed_once_and_off_the_steps_not_chosen():
    model = model_of(2.0)
    off = model.evidence.measured.copy()
    off.loc[off.index[0], "wall"] = 0.537
    off.loc[off.index[1], "wall"] = off["wall"].iloc[1] + 1e-12
    model = replace(model, evidence=replace(model.evidence, measured=off))
    recipes = measured_recipes(model)
    assert len(recipes) == 24
    assert recipes["wall"].iloc[0] == 0.537
    assert recipes["wall"].iloc[1] in PLAN.variables["wall"].grid
    found = best(model)[1]
    assert not found.recipes.duplicated().any()
    strange = np.flatnonzero(found.recipes["wall"] == 0.537)
    assert len(strange) == 1
    assert strange[0] not in found.order
