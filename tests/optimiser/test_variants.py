"""Which variants are dead ends."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import dead_ends


def three_levels(gap: float, count: int, seed: int) -> tuple[Plan, pd.DataFrame]:
    """A choice whose level c is worse by `gap`, and a knob that matters a little."""
    plan = Plan.from_dict(
        {
            "name": "levels",
            "variables": {
                "profile": {"kind": "choice", "levels": ["a", "b", "c"], "label": "rim profile"},
                "x": {"kind": "continuous", "low": 0, "high": 1, "step": 0.05, "unit": "mm"},
            },
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    recipes = Space(plan).sample(count, seed=seed)
    rng = np.random.default_rng(seed)
    y = recipes["x"] - gap * (recipes["profile"] == "c") + 0.05 * rng.standard_normal(count)
    return plan, recipes.assign(y=y, status="measured")


def verdicts(result) -> dict[tuple[str, str], str]:
    return {(v.variable, v.where): v.verdict for v in result.variants}


def test_a_clearly_worse_level_is_dropped_and_the_others_are_not():
    result = dead_ends(*three_levels(2.0, 24, seed=1), seed=0)
    found = verdicts(result)
    assert found[("profile", "c")] == "drop"
    assert found[("profile", "a")] != "drop"
    assert found[("profile", "b")] != "drop"
    assert found[("x", "0 to 0.3 mm")] == "drop"
    assert "rim profile c" in result.text


def test_probabilities_of_a_choice_add_up_to_one():
    result = dead_ends(*three_levels(0.2, 12, seed=1), seed=0)
    total = sum(v.probability for v in result.variants if v.variable == "profile")
    assert total == pytest.approx(1.0, abs=0.02)
    assert all(v.loss.mean >= 0 for v in result.variants)


def test_what_is_given_up_saves_as_many_cones_as_chance_would_spend_there():
    result = dead_ends(*three_levels(0.2, 12, seed=1), seed=0)
    levels = [v for v in result.variants if v.variable == "profile"]
    for each in levels:
        # Every recipe has a profile: of ten cones as many as the chance says. Their number is
        # binomial, here by numpy's draws.
        assert each.saves.mean == pytest.approx(10 * each.probability, abs=0.05)
        assert 0 <= each.saves.low <= each.saves.mean <= each.saves.high <= 10
        spread = np.random.default_rng(0).binomial(10, each.saves.mean / 10, 4000)
        assert np.mean((each.saves.low <= spread) & (spread <= each.saves.high)) >= 0.9
    assert sum(each.saves.mean for each in levels) == pytest.approx(10.0, abs=0.1)
    dropped = [v for v in dead_ends(*three_levels(2.0, 24, seed=1), seed=0).variants
               if v.verdict == "drop"]  # fmt: skip
    assert dropped
    assert all(each.saves.mean < 0.5 for each in dropped)


def test_nothing_is_saved_where_nothing_is_known():
    plan, trials = three_levels(1.0, 6, seed=1)
    result = dead_ends(plan, trials.assign(status="planned"), seed=0)
    assert not any(v.saves.known for v in result.variants)


def test_a_knob_is_judged_among_the_recipes_that_have_it():
    # Resin is far better, so that the best has no nozzle; 215 is the best nozzle all the same.
    plan = Plan.from_dict(
        {
            "name": "branches",
            "variables": {
                "process": {"kind": "choice", "levels": ["resin", "filament"]},
                "nozzle": {
                    "kind": "ordered",
                    "levels": [195, 215, 235],
                    "only_when": {"process": ["filament"]},
                },
                "x": {"kind": "continuous", "low": 0, "high": 1, "step": 0.1},
            },
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    recipes = pd.concat([Space(plan).sample(24, seed=seed) for seed in (1, 2)])
    y = 3.0 * (recipes["process"] == "resin") - 2.0 * (recipes["nozzle"] == 195)
    y = y - 2.0 * (recipes["nozzle"] == 235) + 0.1 * recipes["x"]
    noise = 0.05 * np.random.default_rng(0).standard_normal(len(recipes))
    result = dead_ends(plan, recipes.assign(y=y + noise, status="measured"), seed=0)
    found = verdicts(result)
    assert found[("process", "filament")] == "drop"
    assert found[("nozzle", "215")] == "keep"
    assert found[("nozzle", "195")] == found[("nozzle", "235")] == "drop"
    total = sum(v.probability for v in result.variants if v.variable == "nozzle")
    assert total == pytest.approx(1.0, abs=0.02)
