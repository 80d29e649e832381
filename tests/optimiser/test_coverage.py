"""Whether 90 % intervals hold 90 % of new measurements."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.space import Space
from optimiser import fit
from tests.functions import Problem, branin_problem, g_problem, hartmann6_problem, ishigami_problem

PROBLEMS = [branin_problem(), hartmann6_problem(), ishigami_problem(), g_problem()]
NOISE = 0.1


def covered(problem: Problem, count: int, seed: int) -> float:
    """Share of 200 fresh noisy measurements inside their interval."""
    trials = problem.trials(count, NOISE, seed=seed)
    fresh = Space(problem.plan).sample(200, seed=1000 + seed)
    values = problem.measure(fresh, NOISE, seed=2000 + seed)
    foretold = fit(problem.plan, trials, seed=seed).predict(fresh)["y"]
    inside = (foretold["low"] <= values) & (values <= foretold["high"])
    assert isinstance(inside, pd.Series)
    return float(inside.mean())


@pytest.mark.slow
@pytest.mark.parametrize("count", [10, 30])
@pytest.mark.parametrize("problem", PROBLEMS, ids=lambda problem: problem.name)
def test_intervals_hold_what_they_say(problem, count, record_property):
    share = float(np.mean([covered(problem, count, seed) for seed in range(20)]))
    record_property("coverage", share)
    print(f"{problem.name}, {count} trials: 90 % intervals hold {share:.3f}")
    assert 0.80 <= share <= 0.97


def test_intervals_hold_most_on_a_few_seeds():
    share = np.mean([covered(PROBLEMS[1], 20, seed) for seed in range(3)])
    assert 0.75 <= share <= 1.0
