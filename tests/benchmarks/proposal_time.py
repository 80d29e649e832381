"""Seconds a proposal, ours with five metrics beside others with one, on the same trials.

Run with ``python tests/benchmarks/proposal_time.py``; prints a line a size and the ratios.
BoTorch is timed where it is installed. The peers learn the first metric only.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from optimiser import propose
from tests.benchmarks.problems import workshop_plan, workshop_trials
from tests.benchmarks.race_problems import PROBLEMS, RaceProblem, problem
from tests.benchmarks.race_strategies import Botorch, ScikitOptimize, Strategy

SIZES = (10, 30, 60, 200, 1000)
PEERS = {"scikit-optimize": (ScikitOptimize, 200), "BoTorch": (Botorch, 200)}
"""What is timed beside ours, and up to which size."""


def median_seconds(act: Callable[[int], object], repeats: int) -> float:
    """Time an act several times, each with another seed, after one that is not counted."""
    act(99)
    times = []
    for seed in range(repeats):
        start = time.perf_counter()
        act(seed)
        times.append(time.perf_counter() - start)
    return float(np.median(times))


def workshop() -> RaceProblem:
    """Pose the plan as a problem, as the peers' strategies read it."""
    return RaceProblem("workshop", "", workshop_plan(), 0, dict, {}, best=1.0, typical=0.0)


def peer_seconds(kind: type[Strategy], trials: pd.DataFrame, repeats: int) -> float:
    """Time a peer from its making to its proposal."""
    table = trials.assign(utility=trials["limit"])

    def act(seed: int) -> object:
        return kind(problem("workshop"), seed, 1, len(trials) + 1).propose(table)

    return median_seconds(act, repeats)


def main() -> None:
    """Time all at each size, on one thread."""
    PROBLEMS["workshop"] = workshop
    plan = workshop_plan()
    peers = {name: each for name, each in PEERS.items() if _there(name)}
    print("one core; median of 5 runs (3 from 200 cones on); ratio = ours / theirs")
    print("cones   coneloop s   some failed" + "".join(f"   {name} s   ratio" for name in peers))
    for size in SIZES:
        trials = workshop_trials(plan, size)
        repeats = 5 if size < 200 else 3
        ours = median_seconds(lambda s, trials=trials: propose(plan, trials, seed=s), repeats)
        some = workshop_trials(plan, size, failing=True)
        failing = median_seconds(lambda s, some=some: propose(plan, some, seed=s), repeats)
        line = f"{size:5d}   {ours:10.3f}   {failing:11.3f}"
        for name, (kind, most) in peers.items():
            if size <= most:
                theirs = peer_seconds(kind, trials, repeats)
                line += f"   {theirs:{len(name) + 2}.3f}   {ours / theirs:5.2f}"
        print(line, flush=True)


def _there(name: str) -> bool:
    return find_spec({"scikit-optimize": "skopt", "BoTorch": "botorch"}[name]) is not None


if __name__ == "__main__":
    with threadpool_limits(1):
        main()
