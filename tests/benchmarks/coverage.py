"""Whether 90 % intervals hold 90 % of new measurements, over all problems of the race.

Run with ``python tests/benchmarks/coverage.py --seeds 20``. A seed's trials are the first cones
that the race's strategies share, then by turns a random recipe and our own proposal, until as
many cones as the largest size are measured; a model is learnt from the first 10, 20 and 40 of
them. Each is asked for up to 200 fresh recipes (of a shortlist, the open rows; of the cone, those
that print), each measured once with the problem's own noise, print spread and session offset.
Counted is the share of these measurements inside their interval, the mean over the metrics. The
last rows are means over problems, their interval the 5 % to 95 % of 2000 resamplings of the
seeds, a problem by itself.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

import click
import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from optimiser import fit, propose
from tests.benchmarks.race import available
from tests.benchmarks.race_loop import first_recipes
from tests.benchmarks.race_problems import (
    PROBLEMS,
    Metrics,
    RaceProblem,
    Settings,
    problem,
    space_of,
)

SIZES = (10, 20, 40)
FRESH = 200
_FIRST_FRESH = 100_000  # number of the first fresh cone, so that its luck is its own
_RESAMPLES = 2000


class Trials:
    """The cones of one seed as they come in, a reference cone a session where there is one."""

    def __init__(self, task: RaceProblem, seed: int) -> None:
        self.task, self.seed = task, seed
        self.rows: list[Settings] = []
        self.number = 0
        self.measured = 0
        self.tried: list[Settings] = []

    def print(self, settings: Settings) -> None:
        """Print and measure one more cone."""
        self.tried.append(settings)
        self.number += 1
        session = self.task.session(self.number)
        if self.task.reference is not None and (self.number - 1) % self.task.sitting == 0:
            heard = self.task.measure_reference(self.seed, session)
            self._take(self.task.reference, heard, 0, session)
        heard = self.task.measure(settings, self.seed, self.number)
        self._take(settings, heard, self.number, session)
        self.measured += heard is not None

    def _take(self, settings: Settings, heard: Metrics | None, cone: int, session: int) -> None:
        status = "failed" if heard is None else "measured"
        fixed = {"status": status, "cone": cone, "session": f"s{session}"}
        self.rows.append(settings | (heard or {}) | fixed)

    def table(self) -> pd.DataFrame:
        """Give the rows as a table of trials."""
        plan = self.task.plan
        names = [*plan.variables, *plan.metrics, "status", "cone", "session"]
        return pd.DataFrame(self.rows).reindex(columns=names)


def tables(task: RaceProblem, seed: int, sizes: tuple[int, ...]) -> dict[int, pd.DataFrame]:
    """Give the trials of one seed at each size."""
    trials = Trials(task, seed)
    first = first_recipes(task, seed)
    drawn = iter(random_recipes(task, seed + 500, 8 * max(sizes)))
    found: dict[int, pd.DataFrame] = {}
    turn = 0
    while trials.measured < max(sizes):
        if turn < len(first):
            settings = first[turn]
        elif (turn - len(first)) % 2 == 0:
            settings = next(each for each in drawn if each not in trials.tried)
        else:
            pick = propose(task.plan, trials.table(), seed=seed, candidates=task.candidates)[0]
            settings = pick.settings
        trials.print(settings)
        turn += 1
        if trials.measured in sizes:
            found.setdefault(trials.measured, trials.table())
    return found


def random_recipes(task: RaceProblem, seed: int, count: int) -> list[Settings]:
    """Give recipes drawn evenly, of the shortlist where there is one."""
    space = space_of(task.name)
    frame = task.candidates
    if frame is None:
        frame = space.sample(count, seed)
    order = np.random.default_rng([seed, 9]).permutation(len(frame))[:count]
    return [space.settings(row) for _, row in frame.iloc[order].iterrows()]


def fresh(task: RaceProblem, seed: int) -> list[tuple[Settings, Metrics]]:
    """Give fresh recipes and what each measured."""
    found = []
    for place, settings in enumerate(random_recipes(task, seed + 900, 4 * FRESH)):
        heard = task.measure(settings, seed, _FIRST_FRESH + place)
        if heard is not None and len(found) < FRESH:
            found.append((settings, heard))
    return found


def covered(
    task: RaceProblem, trials: pd.DataFrame, asked: list[tuple[Settings, Metrics]], seed: int
) -> float:
    """Give the share inside, recipes that were tried left out."""
    space, names = space_of(task.name), list(task.plan.variables)
    tried = [space.settings(row) for _, row in trials[names].iterrows()]
    new = [(settings, heard) for settings, heard in asked if settings not in tried]
    recipes = pd.DataFrame([settings for settings, _ in new]).reindex(columns=names)
    foretold = fit(task.plan, trials, seed=seed).predict(recipes)
    shares = []
    for name in task.noise:
        values = np.array([heard[name] for _, heard in new])
        low, high = (foretold[name, end].to_numpy(dtype=float) for end in ("low", "high"))
        shares.append(np.mean((low <= values) & (values <= high)))
    return float(np.mean(shares))


def measure(name: str, seed: int, sizes: tuple[int, ...] = SIZES) -> list[float]:
    """Give the share inside at each size."""
    task = problem(name)
    asked = fresh(task, seed)
    found = tables(task, seed, sizes)
    return [covered(task, found[size], asked, seed) for size in sizes]


def summary(shares: dict[str, np.ndarray]) -> list[str]:
    """Write a row a problem, then the mean over problems; arrays are (seeds, sizes)."""
    lines = []
    for name, part in shares.items():
        lines.append(f"| {name} | {' | '.join(f'{mean:.3f}' for mean in part.mean(axis=0))} |")
    rng = np.random.default_rng(0)
    resampled = np.mean(
        [
            part[rng.integers(len(part), size=(_RESAMPLES, len(part)))].mean(axis=1)
            for part in shares.values()
        ],
        axis=0,
    )
    mean = np.mean([part.mean(axis=0) for part in shares.values()], axis=0)
    low, high = np.quantile(resampled, [0.05, 0.95], axis=0)
    cells = [f"{m:.3f} ({a:.3f}..{b:.3f})" for m, a, b in zip(mean, low, high, strict=True)]
    return [*lines, f"| mean of {len(shares)} | {' | '.join(cells)} |"]


@click.command()
@click.option("--seeds", default=20, show_default=True, help="Seeds 0 to N - 1.")
@click.option("--problems", multiple=True, help="A problem; may be given again. All by default.")
def main(seeds: int, problems: tuple[str, ...]) -> None:
    """Print the share inside, a problem and a size."""
    names = available(problems, PROBLEMS)
    found: dict[str, list[list[float]]] = {name: [] for name in names}
    start = time.monotonic()
    for seed in range(seeds):  # seed by seed, so that a run that is stopped has shown them all
        for name in names:
            found[name].append(measure(name, seed))
            cells = " ".join(f"{share:.3f}" for share in found[name][-1])
            passed = (time.monotonic() - start) / 60
            click.echo(f"{name}, seed {seed}: {cells}; {passed:.0f} min passed", err=True)
    click.echo(f"| problem | {' | '.join(f'{size} cones' for size in SIZES)} |")
    click.echo("|---" * (len(SIZES) + 1) + "|")
    click.echo("\n".join(summary({name: np.array(part) for name, part in found.items()})))


if __name__ == "__main__":
    with threadpool_limits(1):
        main()
