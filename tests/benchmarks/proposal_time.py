"""Seconds a proposal, ours with five metrics beside scikit-optimize with one, same trials.

Run with ``python tests/benchmarks/proposal_time.py``; prints a line a size and the ratio.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from skopt import Optimizer

from optimiser import propose
from optimiser.dimensions import dimensions, point
from optimiser.evidence import gather
from tests.benchmarks.problems import workshop_plan, workshop_trials

SIZES = (10, 30, 60, 200)
REPEATS = 5


def median_seconds(act: Callable[[int], object]) -> float:
    """Time an act several times, each with another seed, after one that is not counted."""
    act(99)
    times = []
    for seed in range(REPEATS):
        start = time.perf_counter()
        act(seed)
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def main() -> None:
    """Time both at each size, on one thread."""
    plan = workshop_plan()
    print("one core; median of", REPEATS, "runs")
    print("cones   coneloop s   scikit-optimize s   ratio")
    for size in SIZES:
        trials = workshop_trials(plan, size)
        space = gather(plan, trials).space
        names = list(plan.variables)
        points = [point(plan, space.settings(row)) for _, row in trials[names].iterrows()]
        values = (-trials["limit"]).tolist()

        def peer(seed: int, points: list = points, values: list = values) -> object:
            other = Optimizer(dimensions(plan), random_state=seed, n_initial_points=1)
            other.tell(points, values)
            return other.ask()

        ours = median_seconds(lambda seed, trials=trials: propose(plan, trials, seed=seed))
        theirs = median_seconds(peer)
        print(f"{size:5d}   {ours:10.3f}   {theirs:17.3f}   {ours / theirs:5.2f}")


if __name__ == "__main__":
    with threadpool_limits(1):
        main()
