"""The plan as scikit-optimize's dimensions."""

from __future__ import annotations

import numpy as np
from skopt import Optimizer
from skopt.space import Categorical, Integer, Real

from experiments.plan import Plan
from experiments.space import Space
from optimiser.dimensions import dimensions, point, recipe


def test_kinds_map(mixed_plan):
    kinds = [type(dimension) for dimension in dimensions(mixed_plan)]
    assert kinds == [Categorical, Real, Categorical, Categorical, Real]
    plan = Plan.from_dict(
        {
            "name": "whole",
            "variables": {
                "n": {"kind": "integer", "low": 1, "high": 5},
                "f": {"kind": "continuous", "low": 1, "high": 100, "scale": "log"},
            },
            "metrics": {"y": {"from": "hand", "goal": "minimise"}},
        }
    )
    whole, log = dimensions(plan)
    assert isinstance(whole, Integer)
    assert log.prior == "log-uniform"


def test_recipes_go_there_and_back(mixed_plan):
    space = Space(mixed_plan)
    for _, row in space.sample(30, seed=1).iterrows():
        settings = space.settings(row)
        assert recipe(space, point(mixed_plan, settings)) == settings


def test_scikit_optimize_accepts_them(mixed_plan):
    space = Space(mixed_plan)
    peer = Optimizer(dimensions(mixed_plan), random_state=0, n_initial_points=3)
    for _ in range(4):
        values = peer.ask()
        settings = recipe(space, values)
        assert set(settings) <= set(mixed_plan.variables)
        peer.tell(values, float(np.sum([v for v in settings.values() if not isinstance(v, str)])))
