"""Seconds that whole commands take, from a fresh process to the printed answer, beside a peer.

Run with ``python tests/benchmarks/answer_time.py``; 40 cones, 8 variables, 5 metrics. Prints wall
and processor seconds a command (the least of the runs, since others only ever add), and the ratio
of its processor seconds to those of a peer in the same run, libraries loaded anew each time too:

* `knobs` beside SALib's Sobol analysis of the score that scikit-learn's processes expect, 9,216
  recipes valued (ours values as many in 512 functions drawn);
* the others beside scikit-learn drawing 512 functions of every metric at 768 recipes.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from experiments.ledger import Ledger
from optimiser.goals import Goals
from tests.benchmarks.problems import METRICS, WORKSHOP, workshop_plan, workshop_trials

__all__ = ["COMMANDS", "least", "store", "write_peers"]

COMMANDS = {
    "knobs": ("SALib", ["knobs"]),
    "optimum cure": ("scikit-learn", ["optimum", "cure"]),
    "deadends": ("scikit-learn", ["deadends"]),
    "outlook": ("scikit-learn", ["outlook"]),
    "recommend": ("scikit-learn", ["recommend"]),
    "expect 7": ("scikit-learn", ["expect", "7"]),
    "compare": ("scikit-learn", ["compare", "process=resin", "process=filament"]),
}
ROOT = Path(__file__).resolve().parents[2]
PEERS = ROOT / "tests" / "benchmarks" / "answer_peers.py"
OURS = "from optimiser.command import main; main()"


def store(folder: Path, cones: int) -> None:
    """Make an experiment of the workshop's measured cones."""
    text = "\n".join(f"{key} = {_toml(value)}" for key, value in WORKSHOP.items())
    with Ledger.create(folder, text) as ledger:
        for _, row in workshop_trials(workshop_plan(), cones).iterrows():
            number = ledger.add(ledger.space.settings(row))
            ledger.measure(number, session="evening", values={m: float(row[m]) for m in METRICS})


def _toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + "}"
    return json.dumps(value)


def write_peers(folder: Path, file: Path) -> None:
    """Write the same cones as the peers read them: settings and metrics on 0..1."""
    with Ledger.open(folder) as ledger:
        codes, trials = ledger.space.codes(ledger.table()), ledger.table()
        sizes = ledger.space.tree.sizes - 1
        rises = Goals(ledger.plan).rises({m: trials[m].to_numpy(dtype=float) for m in METRICS})
    np.savez(file, recipes=np.where(codes < 0, 0.5, codes / sizes), rises=rises)


def least(command: Sequence[str], runs: int) -> tuple[float, float]:
    """Run a command several times; give the least wall and processor seconds."""
    wall, spent = [], []
    for _ in range(runs):
        before, start = _spent(), time.perf_counter()
        subprocess.run(command, check=True, cwd=ROOT, capture_output=True)
        wall.append(time.perf_counter() - start)
        spent.append(_spent() - before)
    return min(wall), min(spent)


def _spent() -> float:
    """Processor seconds of all processes that ended."""
    times = os.times()
    return times.children_user + times.children_system


def main() -> None:
    """Time every command and the peers."""
    reader = argparse.ArgumentParser(description=__doc__)
    reader.add_argument("--runs", type=int, default=3)
    reader.add_argument("--cones", type=int, default=40)
    given = reader.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder, file = Path(made) / "workshop", Path(made) / "cones.npz"
        store(folder, given.cones)
        write_peers(folder, file)
        peers = {
            name: least([sys.executable, str(PEERS), name, str(file)], given.runs)
            for name in ("SALib", "scikit-learn")
        }
        print(f"{given.cones} cones, least of {given.runs} runs; load {os.getloadavg()[0]:.1f}")
        print("command          wall s   cpu s   peer          wall s   cpu s   ratio of cpu")
        for name, (peer, words) in COMMANDS.items():
            command = [sys.executable, "-c", OURS, *words, "--in", str(folder)]
            wall, spent = least(command, given.runs)
            theirs = peers[peer]
            print(
                f"{name:16s} {wall:6.2f}  {spent:6.2f}   {peer:12s}  {theirs[0]:6.2f}  "
                f"{theirs[1]:6.2f}   {spent / theirs[1]:5.2f}",
                flush=True,
            )
        print(f"load at the end {os.getloadavg()[0]:.1f}")


if __name__ == "__main__":
    main()
