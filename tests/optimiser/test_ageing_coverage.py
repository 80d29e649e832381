"""Whether intervals of ageing and climate hold the truth, and named laws are right, simulated."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest

from optimiser.ageing_choice import choose_law
from optimiser.ageing_crossing import bound_of, cone_crossing
from optimiser.ageing_laws import LAWS
from optimiser.ageing_model import AgeModel
from optimiser.ageing_prepared import Prepared, prepare
from optimiser.ageing_rows import CLOCKS
from optimiser.repeats import hear
from tests import kept_cones
from tests.studies import repeats, slack

PLAN = kept_cones.plan()
LIMIT = 78.5
DESIGNS: dict[str, dict[str, Any]] = {
    "linear": {"law": 0, "drift": -3.0, "spread": 0.6},
    "logarithmic": {"law": 1, "shape": 30.0, "drift": -3.0, "spread": 0.6, "visits": 5},
    "saturating": {"law": 2, "shape": 80.0, "drift": -3.0, "spread": 0.6, "visits": 5},
    "few": {"law": 0, "cones": 3, "visits": 3, "drift": -3.0, "spread": 0.6},
}


CLIMATES: dict[str, dict[str, Any]] = {
    "warm sessions": {"warm": 0.3, "drift": -2.0},
    "few cones": {"warm": 0.3, "drift": -1.0, "cones": 3, "visits": 3},
}
RISING: dict[str, dict[str, Any]] = {
    "warmer each time": {"warm": 0.3, "drift": -2.0, "rising": 1.5, "dark": 0},
    "few cones": {"warm": 0.3, "drift": -2.0, "rising": 1.0, "cones": 3, "dark": 1},
}
RUNS = repeats(220)
_LAW_RUNS = repeats(60)
_FIRST = 50_000  # seeds that no choice of the model was made by


@dataclass
class Count:
    """What was inside its interval, and which laws were named."""

    mean: list[bool] = field(default_factory=list)
    crossing: list[bool] = field(default_factory=list)
    named: list[str | None] = field(default_factory=list)


def prepared(design: dict[str, Any], seed: int, by: str) -> tuple[kept_cones.Shelf, Prepared]:
    shelf = kept_cones.draw(**design, seed=seed)
    return shelf, prepare(hear(PLAN, shelf.trials), "level", CLOCKS[by])


def inside(model: AgeModel, truth: float, seed: int) -> bool:
    drawn = model.draw(1500, np.random.default_rng(seed))
    low, high = np.quantile(drawn.mean_drift, [0.05, 0.95])
    return bool(low <= truth <= high)


def count(design: dict[str, Any], runs: int) -> Count:
    """Count as `ageing` tells it, without what it tells besides."""
    found = Count()
    bound = bound_of(PLAN.metrics["level"])
    for seed in range(runs):
        # Other draws for each design: one unlucky set would show in all of them.
        first = _FIRST + 1000 * list(DESIGNS.values()).index(design)
        shelf, part = prepared(design, first + seed, "light_hours")
        kept, model = part.kept, AgeModel(part.kept)
        drawn = model.draw(1500, np.random.default_rng(seed))
        low, high = np.quantile(drawn.mean_drift, [0.05, 0.95])
        found.mean.append(bool(low <= design["drift"] <= high))
        if seed < _LAW_RUNS:
            found.named.append(choose_law(model).law)
        times = np.linspace(0, 2 * shelf.span.longest, 20001)
        horizon = 2 * shelf.span.longest
        for cone in np.flatnonzero(kept.aged):
            each = cone_crossing(drawn, kept, int(cone), bound, CLOCKS["light_hours"], horizon)
            truth = crossing(shelf, int(each.cone) - 1, times)
            if math.isfinite(truth):
                found.crossing.append(each.time.low <= truth <= each.time.high)
    return found


def crossing(shelf: kept_cones.Shelf, cone: int, times: np.ndarray) -> float:
    """The true first time under the limit, counted as late as the grid of the answer sees it."""
    beyond = shelf.truth(cone, times) < LIMIT
    return float(times[beyond.argmax()]) if beyond.any() else math.inf


@pytest.mark.slow
def test_intervals_hold_what_they_say():
    """Four designs of 220 tables each, one by one; of 60 alone a shortfall of 0.07 is chance."""
    mean, crossed, wrong = [], [], 0
    for name, design in DESIGNS.items():
        found = count(design, RUNS)
        mean.append(float(np.mean(found.mean)))
        crossed.append(float(np.mean(found.crossing)))
        right, silent = found.named.count(LAWS[design["law"]]), found.named.count(None)
        wrong += _LAW_RUNS - right - silent
        print(
            f"{name}: mean drift {mean[-1]:.3f}, crossings {crossed[-1]:.3f} of "
            f"{len(found.crossing)}; law right {right}, silent {silent}, wrong "
            f"{_LAW_RUNS - right - silent} of {_LAW_RUNS}"
        )
    print(f"together: mean drift {np.mean(mean):.3f}, crossings {np.mean(crossed):.3f}")
    assert min(mean) >= 0.85 - slack(220)
    assert max(mean) <= 0.97 + slack(220)
    assert min(crossed) >= 0.85 - slack(220)
    assert max(crossed) <= 0.97 + slack(220)
    assert wrong / (4 * _LAW_RUNS) <= 0.05 + slack(240, 0.05)


@pytest.mark.slow
def test_climates_and_drifts_freed_of_them_hold_what_they_say():
    """Two designs of 220 tables each: what 1 °C does, and drifts in rooms that grow warmer."""
    for name, design in CLIMATES.items():
        hits = []
        for seed in range(RUNS):
            shelf, part = prepared(design, _FIRST + seed, "temperature_c")
            if not part.lacking:
                truth = design["warm"] * part.kept.span.length
                hits.append(inside(AgeModel(part.kept), truth, seed))
        print(f"temperature, {name}: {np.mean(hits):.3f} of {len(hits)}")
        assert 0.85 - slack(220) <= np.mean(hits) <= 0.97 + slack(220)
    for name, design in RISING.items():
        hits, blind = [], []
        for seed in range(RUNS):
            shelf, part = prepared(design, _FIRST + seed, "light_hours")
            if not part.kept.beside:
                continue
            hits.append(inside(AgeModel(part.kept), design["drift"], seed))
            if len(blind) < _LAW_RUNS and not design["dark"]:
                bare = shelf.trials.drop(columns="temperature_c")
                kept = prepare(hear(PLAN, bare), "level", CLOCKS["light_hours"]).kept
                blind.append(inside(AgeModel(kept), design["drift"], seed))
        print(f"drift, {name}: {np.mean(hits):.3f} of {len(hits)}")
        assert 0.85 - slack(220) <= np.mean(hits) <= 0.97 + slack(220)
        if blind:  # no cone in the dark shows what sessions do
            print(f"  temperature not recorded: {np.mean(blind):.3f} of {len(blind)}")
            assert np.mean(blind) < 0.75


def test_intervals_hold_most_on_a_few_seeds():
    found = count(DESIGNS["few"], 5)
    assert np.mean(found.mean) >= 0.6
    assert np.mean(found.crossing) >= 0.6
