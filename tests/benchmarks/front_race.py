"""The race for a front: ours against BoTorch on two metrics that pull apart.

Run with ``python tests/benchmarks/front_race.py --seeds 20``. The problem is Branin-Currin
(Belakaria, Deshwal & Doppa 2019, Max-value entropy search for multi-objective Bayesian
optimization, NeurIPS) on a grid of 51 by 51 recipes, noise 1 % of the way from poor to the ideal.
A run ends at the first trial with which the tried recipes, valued without noise, cover 95 % of the
hypervolume of the grid's own front; the reference point is (18, 6). Finished runs are lines of
JSON in ``--results``; a run that is there is skipped.
"""

from __future__ import annotations

import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from functools import cache
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click
import numpy as np
import numpy.typing as npt
import pandas as pd
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from experiments.plan import Plan
from experiments.space import Space
from optimiser import propose
from optimiser.hypervolume import hypervolume
from tests.benchmarks.race import key, race, read_results
from tests.benchmarks.race_loop import code_digest
from tests.benchmarks.race_table import resampled
from tests.functions import branin, currin

__all__ = ["POOR", "STRATEGIES", "recipes", "run", "values"]

Floats = npt.NDArray[np.float64]

NAME = "branin-currin"
POOR = np.array([18.0, 6.0])
IDEAL = np.array([0.0, 1.0])
NOISE = 0.01
FIRST = 6
SHARE = 0.95

PLAN = Plan.from_dict(
    {
        "name": NAME,
        "goal": "trade",
        "variables": {
            name: {"kind": "continuous", "low": 0, "high": 1, "step": 0.02} for name in ("x", "y")
        },
        "metrics": {
            "branin": {"goal": "minimise", "poor": 18, "good": 0},
            "currin": {"goal": "minimise", "poor": 6, "good": 1},
        },
    }
)


def values(points: Floats) -> Floats:
    """Give Branin, on [0, 1]^2, and Currin, shape (n, 2); both are to be small."""
    return np.column_stack([branin(points * 15 - [5, 0]), currin(points)])


@cache
def recipes() -> pd.DataFrame:
    """Give every recipe."""
    return Space(PLAN).enumerate(10_000)


def covered(points: Floats) -> float:
    """Give the hypervolume that recipes cover, in the functions' own units."""
    rises = (POOR - values(points)) / (POOR - IDEAL)
    return float(hypervolume(rises[None])[0] * np.prod(POOR - IDEAL))


@cache
def known() -> float:
    """Give the hypervolume of the grid's front."""
    return covered(recipes().to_numpy(dtype=float))


def ours(trials: pd.DataFrame, seed: int) -> int:
    """Choose as `coneloop next` does."""
    pick = propose(PLAN, trials, 1, seed)[0]
    apart = np.abs(recipes() - pd.Series(pick.settings)).sum(axis=1)
    return int(np.argmin(apart))


def botorch(trials: pd.DataFrame, seed: int) -> int:
    """Choose by BoTorch's default model of each metric and its noisy hypervolume improvement."""
    import torch
    from botorch.acquisition.multi_objective.logei import (
        qLogNoisyExpectedHypervolumeImprovement,
    )
    from botorch.fit import fit_gpytorch_mll
    from botorch.models import ModelListGP, SingleTaskGP
    from gpytorch.mlls import SumMarginalLogLikelihood

    torch.set_num_threads(1)
    torch.manual_seed(1000 * seed + len(trials))
    x = torch.tensor(trials[list(PLAN.variables)].to_numpy(dtype=float))
    y = -torch.tensor(trials[list(PLAN.metrics)].to_numpy(dtype=float))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = ModelListGP(*[SingleTaskGP(x, each[:, None]) for each in y.T])
        fit_gpytorch_mll(SumMarginalLogLikelihood(model.likelihood, model))
        improvement = qLogNoisyExpectedHypervolumeImprovement(
            model, ref_point=(-POOR).tolist(), X_baseline=x, prune_baseline=True
        )
        points = torch.tensor(recipes().to_numpy(dtype=float))
        with torch.no_grad():
            worth = torch.cat([improvement(part[:, None, :]) for part in points.split(256)])
    worth[tried(trials)] = -torch.inf
    return int(worth.argmax())


def random(trials: pd.DataFrame, seed: int) -> int:
    """Choose any recipe."""
    rest = np.setdiff1d(np.arange(len(recipes())), tried(trials))
    return int(np.random.default_rng([seed, len(trials)]).choice(rest))


def tried(trials: pd.DataFrame) -> npt.NDArray[np.intp]:
    """Give the rows of the recipes that were tried."""
    return np.array(trials["row"], dtype=np.intp)


STRATEGIES: dict[str, Callable[[pd.DataFrame, int], int]] = {
    "ours": ours,
    "botorch": botorch,
    "random": random,
}


def run(name: str, strategy: str, seed: int, budget: int) -> dict[str, Any]:
    """Run once.

    Returns
    -------
    dict
        Plain values: ``shares`` (covered share of the known hypervolume, a trial each) and
        ``seconds`` (a proposal each).
    """
    grid = recipes().to_numpy(dtype=float)
    start = Space(PLAN).sample(FIRST, seed).to_numpy(dtype=float)
    rows = [int(np.argmin(np.abs(grid - each).sum(axis=1))) for each in start]
    noise = np.random.default_rng([seed, 3]).standard_normal((budget, 2)) * NOISE * (POOR - IDEAL)
    seconds: list[float] = []
    shares = [covered(grid[rows[: place + 1]]) / known() for place in range(len(rows))]
    with threadpool_limits(1):
        while len(rows) < budget and shares[-1] < SHARE:
            heard = values(grid[rows]) + noise[: len(rows)]
            trials = recipes().iloc[rows].reset_index(drop=True)
            trials[list(PLAN.metrics)] = heard
            trials = trials.assign(status="measured", cone=np.arange(len(rows)) + 1, row=rows)
            before = time.perf_counter()
            rows.append(STRATEGIES[strategy](trials, seed))
            seconds.append(round(time.perf_counter() - before, 4))
            shares.append(covered(grid[rows]) / known())
    return {
        "problem": name, "strategy": strategy, "seed": seed, "budget": budget,
        "shares": [round(share, 5) for share in shares], "seconds": seconds,
        "code": code_digest() if strategy == "ours" else "",
    }  # fmt: skip


def trials_needed(one: dict[str, Any]) -> int:
    """Count the trials until the front was covered; one more than the budget if it never was."""
    there = one["shares"][-1] >= SHARE
    return len(one["shares"]) if there else int(one["budget"]) + 1


def show(runs: list[dict[str, Any]]) -> None:
    """Print the table in Markdown; ratios are means over seeds, to ours."""
    table = [
        ["strategy", "seeds", f"trials to {SHARE:.0%}, median (quartiles)", "mean",
         "ratio to ours (90 % interval over seeds)", "never", "seconds a proposal"],
        ["---"] * 7,
    ]  # fmt: skip
    needed = {name: [one for one in runs if one["strategy"] == name] for name in STRATEGIES}
    base = {one["seed"]: trials_needed(one) for one in needed["ours"]}
    for name, mine in needed.items():
        if not mine:
            continue
        counts = {one["seed"]: trials_needed(one) for one in mine}
        low, middle, high = np.quantile(list(counts.values()), [0.25, 0.5, 0.75])
        table.append([
            name,
            str(len(mine)),
            f"{middle:g} ({low:g} to {high:g})",
            f"{np.mean(list(counts.values())):.1f}",
            "1" if name == "ours" else _ratio(base, counts),
            str(sum(counts[one["seed"]] > one["budget"] for one in mine)),
            f"{np.mean(np.concatenate([one['seconds'] for one in mine])):.2f}",
        ])  # fmt: skip
    for row in table:
        click.echo(f"| {' | '.join(row)} |")


def _ratio(own: dict[int, int], other: dict[int, int]) -> str:
    """Write the ratio of the means, other to own, over the seeds that both have."""
    seeds = sorted(set(own) & set(other))
    if not seeds:
        return "–"
    pair = [np.array([each[seed] for seed in seeds], dtype=float) for each in (own, other)]
    sample = resampled(*pair, np.random.default_rng(0))
    low, high = np.quantile(sample[1:], [0.05, 0.95])
    return f"{sample[0]:.2f} ({low:.2f} to {high:.2f})"


@click.command()
@click.option("--seeds", default=20, show_default=True, help="Seeds 0 to N - 1.")
@click.option("--strategies", multiple=True, type=click.Choice(list(STRATEGIES)))
@click.option("--budget", default=40, show_default=True, help="Trials, the first ones included.")
@click.option("--jobs", default=1, show_default=True, help="Processes.")
@click.option("--results", type=click.Path(path_type=Path), help="Where finished runs are kept.")
def main(
    seeds: int, strategies: tuple[str, ...], budget: int, jobs: int, results: Path | None
) -> None:
    """Race ways of covering a front."""
    ways = list(strategies or STRATEGIES)
    if "botorch" in ways and find_spec("botorch") is None:
        click.echo("botorch left out: pip install botorch", err=True)
        ways.remove("botorch")
    path = results or Path(tempfile.gettempdir()) / "front_race_results.jsonl"
    found = read_results(path)
    wanted = [(NAME, way, seed, budget) for seed in range(seeds) for way in ways]
    for one in race([task for task in wanted if task not in found], path, jobs, run):
        found[key(one)] = one
    click.echo(f"{NAME}: {known():.2f} is the hypervolume of the grid's front; {FIRST} first "
               f"trials shared, noise {NOISE:.0%}, at most {budget} trials")  # fmt: skip
    show([found[task] for task in wanted])


if __name__ == "__main__":
    main()
