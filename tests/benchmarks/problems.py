"""An experiment of the size that a workshop reaches: 8 variables, 5 metrics."""

from __future__ import annotations

import numpy as np
import pandas as pd

from experiments.plan import Plan
from experiments.space import Space

METRICS = ("limit", "deviation", "thd", "decay", "level")


_ONLY = {"resin": {"process": ["resin"]}, "filament": {"process": ["filament"]}}
WORKSHOP = {
    "name": "workshop",
    "variables": {
        "process": {"kind": "choice", "levels": ["resin", "filament"]},
        "profile": {"kind": "choice", "levels": ["straight", "curved", "ribbed"]},
        "wall": {"kind": "continuous", "low": 0.4, "high": 1.2, "step": 0.1},
        "layer": {"kind": "ordered", "levels": [0.05, 0.1, 0.2]},
        "cure": {
            "kind": "continuous", "low": 0, "high": 40, "step": 1,
            "only_when": _ONLY["resin"],
        },
        "exposure": {
            "kind": "continuous", "low": 1, "high": 8, "step": 0.5,
            "only_when": _ONLY["resin"],
        },
        "nozzle": {
            "kind": "integer", "low": 190, "high": 250, "step": 5,
            "only_when": _ONLY["filament"],
        },
        "width": {
            "kind": "continuous", "low": 0.4, "high": 0.8, "step": 0.05,
            "only_when": _ONLY["filament"],
        },
    },
    "rules": {"wall_holds": "wall >= 2 * layer"},
    "metrics": {
        "limit": {
            "from": "hand", "unit": "kHz", "goal": "maximise", "poor": 4, "good": 14,
        },
        "deviation": {
            "from": "hand", "unit": "dB", "goal": "minimise", "poor": 8, "good": 2,
        },
        "thd": {"from": "hand", "unit": "%", "goal": "minimise", "poor": 5, "good": 0.5},
        "decay": {"from": "hand", "unit": "ms", "goal": "minimise", "poor": 10, "good": 1},
        "level": {
            "from": "hand", "unit": "dB", "goal": "target", "poor": 6, "good": 84,
        },
    },
}  # fmt: skip
"""Two processes, conditional knobs, a rule, five metrics with goals."""


def workshop_plan() -> Plan:
    """Give `WORKSHOP` as a plan."""
    return Plan.from_dict(WORKSHOP)


def workshop_trials(
    plan: Plan, count: int, seed: int = 0, *, failing: bool = False
) -> pd.DataFrame:
    """Give trials from smooth made-up relations with noise; thin walls may be made to fail."""
    recipes = Space(plan).sample(count, seed=seed)
    rng = np.random.default_rng(seed)
    resin = (recipes["process"] == "resin").to_numpy(dtype=float)
    ribbed = (recipes["profile"] == "ribbed").to_numpy(dtype=float)
    cure = recipes["cure"].fillna(20).to_numpy()
    wall, layer = recipes["wall"].to_numpy(), recipes["layer"].astype(float).to_numpy()
    stiff = 1 + 0.6 * resin * np.exp(-(((cure - 18) / 12) ** 2)) + 0.3 * ribbed - layer
    noise = rng.standard_normal((5, count))
    trials = recipes.assign(
        limit=6 * np.sqrt(stiff / (0.5 + wall)) + 0.3 * noise[0],
        deviation=4 + 2 * layer - ribbed + 0.4 * noise[1],
        thd=np.exp(0.5 - stiff / 2 + 0.15 * noise[2]),
        decay=np.exp(0.5 + wall / 2 + 0.2 * noise[3]),
        level=86 - 3 * wall + 0.4 * noise[4],
        status="measured",
        cone=np.arange(1, count + 1),
    )
    if failing:
        failed = wall < 0.6
        trials.loc[failed, list(METRICS)] = np.nan
        trials.loc[failed, "status"] = "failed"
    return trials
