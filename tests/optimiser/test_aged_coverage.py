"""Whether intervals at the plan's age hold the truth of recipes and of new cones, simulated."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from optimiser import fit
from optimiser.ageing_laws import Span, curve
from tests import kept_cones

PLAN = Plan.from_dict(
    {
        **kept_cones.PLAN,
        "variables": {"wall": kept_cones.PLAN["variables"]["wall"]},
        "ageing": {"light_hours": 500.0},
    }
)
DESIGNS: dict[str, dict[str, Any]] = {
    "linear": {},
    "three kept": {"kept": 3, "visits": 3},
    "logarithmic": {"law": 1},
    "steep": {"drift": -6.0, "spread": 1.0},
}
GRID = pd.DataFrame({"wall": np.arange(0, 61, 6.0)})
WALLS = GRID["wall"].to_numpy()


def draw(
    seed: int,
    *,
    kept: int = 4,
    visits: int = 4,
    drift: float = -2.0,
    spread: float = 0.4,
    law: int = 0,
    cones: int = 14,
    noise: float = 0.15,
) -> tuple[pd.DataFrame, np.ndarray, np.ndarray]:
    """A table of young cones, some kept; the truth of each recipe at 500 h, and one new cone's."""
    rng = np.random.default_rng([seed, 5])
    height, phase, slope = rng.normal(size=3)
    walls = np.round(rng.uniform(0, 60, cones))
    drifts = drift + spread * rng.normal(size=cones)
    offsets = noise * rng.normal(size=cones + visits)
    rows = [(cone, cone // 3, 0.0) for cone in range(cones)]
    rows += [
        (cone, 5 + visit + cone % 2, 500.0 * visit / (visits - 1))
        for cone in range(kept)
        for visit in range(1, visits)
    ]
    rows += [(kept, 5 + visit, 0.0) for visit in range(1, visits + 1)]  # one in the dark
    cone, sitting, hours = (np.array(each) for each in zip(*rows, strict=True))

    def young(wall: np.ndarray) -> np.ndarray:
        return np.asarray(80 + 2 * height * np.sin(wall / 14 + phase) + slope * wall / 30)

    level = young(walls[cone]) + drifts[cone] * curve(law, 80.0, hours, Span(0.0, 500.0))
    level = level + offsets[sitting] + noise * rng.normal(size=len(rows))
    trials = pd.DataFrame(
        {
            "cone": cone + 1,
            "status": "measured",
            "session": [f"day {each}" for each in sitting],
            "light_hours": hours,
            "wall": walls[cone],
            "level": level,
        }
    )
    truth = young(WALLS) + drift
    fresh = np.hypot(spread, np.hypot(noise, noise)) * rng.normal(size=len(WALLS))
    return trials, truth, truth + fresh


def hold(design: dict[str, Any], runs: int) -> tuple[float, float]:
    """Share of recipes, and of new measurements of new cones, inside their 90 % intervals."""
    recipes, cones = [], []
    for seed in range(runs):
        trials, truth, new = draw(seed, **design)
        model = fit(PLAN, trials, seed=0)
        metric, points = model.metrics["level"], model.encoding(GRID)
        own = metric.summary(*metric.process.predict(points))
        recipes.append(np.mean((own["low"] <= truth) & (truth <= own["high"])))
        told = metric.new_measurement(points)
        cones.append(np.mean((told["low"] <= new) & (new <= told["high"])))
    return float(np.mean(recipes)), float(np.mean(cones))


@pytest.mark.slow
def test_recipes_and_new_cones_lie_in_their_intervals_at_the_age():
    found = {}
    for name, design in DESIGNS.items():
        found[name] = hold(design, 50)
        print(f"{name}: recipes {found[name][0]:.3f}, new cones {found[name][1]:.3f}")
    recipes, cones = np.array(list(found.values())).T
    # Of 50 tables, in which recipes share one drift, two standard errors are 0.07.
    assert 0.85 <= recipes.mean() <= 0.97
    assert 0.85 <= cones.mean() <= 0.97
    assert min(recipes.min(), cones.min()) >= 0.80


def test_a_few_tables_hold_most():
    recipes, cones = hold(DESIGNS["linear"], 3)
    assert min(recipes, cones) >= 0.6
