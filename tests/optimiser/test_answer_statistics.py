"""Whether the answers hold what they say, over many simulated experiments with a known truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import compare, dead_ends, fit, optimum, outlook
from tests.studies import repeats, slack

REPEATS = repeats(200)

PLAN = Plan.from_dict(
    {
        "name": "simulated cones",
        "variables": {
            "profile": {"kind": "choice", "levels": ["a", "b", "c"]},
            "cure": {"kind": "integer", "low": 0, "high": 40, "unit": "min"},
            "wall": {"kind": "continuous", "low": 0.4, "high": 1.2, "step": 0.1, "unit": "mm"},
        },
        "metrics": {"y": {"from": "hand", "goal": "maximise"}},
    }
)


@dataclass(frozen=True)
class Truth:
    """y = 4 + g(cure) - (wall - 0.8)^2 - gap of the profile, g drawn at random.

    g is as rough as a Matérn 5/2 process of length 14 min and standard deviation 0.7: random
    waves whose frequencies have a t distribution of 5 degrees of freedom (Rahimi & Recht 2007).
    """

    cure: np.ndarray  # g at each minute
    gaps: dict[str, float]

    def __call__(self, recipes: pd.DataFrame) -> np.ndarray:
        bend = self.cure[recipes["cure"].to_numpy(dtype=int)]
        gaps = recipes["profile"].map(self.gaps).to_numpy(dtype=float)
        wall = recipes["wall"].to_numpy(dtype=float)
        return np.asarray(4 + bend - (wall - 0.8) ** 2 - gaps)

    @property
    def peak(self) -> int:
        """Best cure time."""
        return int(self.cure.argmax())


def draw(seed: int, count: int, noise: float = 0.15) -> tuple[Truth, pd.DataFrame]:
    """Draw a truth of which profile c is dead, and an experiment of spread recipes."""
    rng = np.random.default_rng([seed, 53])
    frequency = rng.standard_t(5, 400) / 14.0
    phase = rng.uniform(0, 2 * np.pi, 400)
    waves = np.cos(np.arange(41)[:, None] * frequency + phase)
    cure = 0.7 * np.sqrt(2 / 400) * waves @ rng.standard_normal(400)
    truth = Truth(cure, {"a": 0.0, "b": rng.uniform(0, 0.4), "c": 1.5})
    recipes = Space(PLAN).sample(count, seed=seed)
    y = truth(recipes) + noise * rng.standard_normal(count)
    return truth, recipes.assign(y=y, status="measured", cone=np.arange(1, count + 1))


def asked(seeds: range, count: int = 25) -> dict[str, float]:
    """Share of the experiments in which the optimum and three differences held the truth."""
    held: dict[str, list[bool]] = {"optimum": [], "difference": [], "paired": []}
    named = []
    for seed in seeds:
        truth, trials = draw(seed, count)
        model = fit(PLAN, trials, seed)
        best = optimum(PLAN, trials, "cure", seed, model=model)
        held["optimum"].append(best.low <= truth.peak <= best.high)
        named.append(best.setting is not None)
        for level in "bc":
            found = compare(PLAN, trials, {"profile": "a"}, {"profile": level}, seed, model=model)
            assert found.paired is not None
            for key, each in (("difference", found.score), ("paired", found.paired.score)):
                held[key].append(each.low <= truth.gaps[level] <= each.high)
    return {key: float(np.mean(each)) for key, each in held.items()} | {
        "named": float(np.mean(named))
    }


def given_up(seeds: range) -> dict[str, list[bool]]:
    """Whether holders of the best, and the dead profile, were dropped."""
    found: dict[str, list[bool]] = {"best dropped": [], "dead dropped": []}
    for seed in seeds:
        truth, trials = draw(seed, 25)
        best = {"profile": "a", "cure": truth.peak, "wall": 0.8}
        for variant in dead_ends(PLAN, trials, seed).variants:
            dropped = variant.verdict == "drop"
            if any(setting == best[variant.variable] for setting in variant.settings):
                found["best dropped"].append(dropped)
            if variant.where == "c":
                found["dead dropped"].append(dropped)
    return found


def stopped(seeds: range) -> tuple[int, list[bool]]:
    """How often 'stop' was said of 40 cones, and whether the best cone was within 5 % then."""
    right = []
    for seed in seeds:
        truth, trials = draw(seed, 40, noise=0.08)
        look = outlook(PLAN, trials, seed)
        if look.verdict == "stop":
            best = truth(Space(PLAN).enumerate(2000)).max()
            own = truth(trials[trials["cone"] == look.best])[0]
            right.append(bool(own >= 0.95 * best))
    return len(seeds), right


@pytest.mark.slow
def test_optima_and_differences_hold_what_their_intervals_say():
    found = asked(range(REPEATS))
    print(found)
    for key in ("optimum", "difference", "paired"):
        assert 0.85 - slack(200) <= found[key] <= 0.97 + slack(200)


@pytest.mark.slow
def test_what_is_given_up_deserves_it():
    found = given_up(range(REPEATS))
    print({key: (round(float(np.mean(each)), 3), len(each)) for key, each in found.items()})
    assert np.mean(found["best dropped"]) < 0.05 + slack(200, 0.05)
    assert np.mean(found["dead dropped"]) > 0.8 - slack(200)


@pytest.mark.slow
def test_stop_is_said_where_the_best_is_near():
    count, right = stopped(range(REPEATS))
    print(f"stop said in {len(right)} of {count}, right in {np.mean(right):.3f} of these")
    assert len(right) >= count / 10
    assert np.mean(right) > 0.9 - slack(200)
