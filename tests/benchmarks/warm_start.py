"""What an earlier experiment saves when it agrees, and costs when it does not.

Run with ``python tests/benchmarks/warm_start.py --seeds 10``. Each seed's earlier experiment is
30 recipes spread over the same plan:

* `alike`: measured on another rig (a tenth more of every metric that is learnt on a log scale, an
  offset of ten times the noise on the others); Branin moreover shifted by 0.5 and 1.25 times as
  steep;
* `unrelated`: each recipe with another one's values;
* `unlike`: every metric mirrored about its median, so that the best recipes are the worst.

These then start from nothing; `cold` starts from the shared first cones without it. Columns are
defined in `race_table`. Finished runs are lines of JSON in ``--results`` and are not run again.
"""

from __future__ import annotations

import json
import sys
import tempfile
from pathlib import Path

import click

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

import numpy as np
import pandas as pd

from optimiser import fit, propose
from tests.benchmarks.race_loop import run
from tests.benchmarks.race_problems import RaceProblem, Settings, space_of
from tests.benchmarks.race_strategies import STRATEGIES, Ours
from tests.benchmarks.race_table import WITHIN, ratio_table, summaries

PROBLEMS = {"branin": 25, "forked": 25, "cone": 20}
"""Problem to budget."""
CONES = 30
_SEED = 5000  # so that the earlier experiment has its own luck


def earlier_trials(task: RaceProblem, seed: int, cones: int) -> pd.DataFrame:
    """Measure spread recipes, all as in the problem itself."""
    recipes = space_of(task.name).sample(cones, seed + _SEED)
    rows = []
    for number, (_, row) in enumerate(recipes.iterrows(), start=1):
        settings = space_of(task.name).settings(row)
        heard = task.measure(_shifted(task, settings), seed + _SEED, number)
        status = {"cone": number, "status": "failed" if heard is None else "measured"}
        rows.append(settings | status | (heard or {}))
    return pd.DataFrame(rows)


def _shifted(task: RaceProblem, settings: Settings) -> Settings:
    if task.name != "branin":
        return settings
    return {name: value + 0.5 for name, value in settings.items()}


def alike(task: RaceProblem, trials: pd.DataFrame) -> pd.DataFrame:
    """Give the same as another rig would have heard it."""
    steep = 1.25 if task.name == "branin" else 1.0
    changed = {
        name: 1.1 * trials[name] if name in task.relative else steep * trials[name] + 10 * noise
        for name, noise in task.noise.items()
    }
    return trials.assign(**changed)


def unrelated(task: RaceProblem, trials: pd.DataFrame) -> pd.DataFrame:
    """Give each recipe the values of another one."""
    order = np.random.default_rng(0).permutation(len(trials))
    changed = {name: trials[name].to_numpy()[order] for name in [*task.noise, "status"]}
    return trials.assign(**changed)


def unlike(task: RaceProblem, trials: pd.DataFrame) -> pd.DataFrame:
    """Mirror every metric about its median."""
    middle = {name: trials[name].median() for name in task.noise}
    changed = {
        name: centre**2 / trials[name] if name in task.relative else 2 * centre - trials[name]
        for name, centre in middle.items()
    }
    return trials.assign(**changed)


class Warm(Ours):
    """Ours, with an earlier experiment."""

    own_start = True
    change = staticmethod(alike)

    def __init__(self, problem: RaceProblem, seed: int, first: int, budget: int) -> None:
        super().__init__(problem, seed, first, budget)
        self.past = self.change(problem, earlier_trials(problem, seed, CONES))

    def propose(self, trials: pd.DataFrame) -> Settings:
        """Give the settings of the next cone."""
        table = trials.drop(columns="utility")
        return dict(propose(self.plan, table, 1, self.seed, earlier=self.past)[0].settings)

    def recommend(self, trials: pd.DataFrame) -> int:
        """Give the row that the model holds to be the leader."""
        table = trials.drop(columns="utility")
        leader = fit(self.plan, table, self.seed, earlier=self.past).leader()
        assert leader is not None
        return int(np.flatnonzero((trials["cone"].astype(str) == leader.cone).to_numpy())[0])


class Unrelated(Warm):
    """Ours, with an earlier experiment that has nothing to do with it."""

    change = staticmethod(unrelated)


class Misled(Warm):
    """Ours, with an earlier experiment that does not agree."""

    change = staticmethod(unlike)


WAYS = {"cold": Ours, "alike": Warm, "unrelated": Unrelated, "unlike": Misled}


@click.command()
@click.option("--seeds", default=10, show_default=True, help="Seeds 0 to N - 1.")
@click.option("--problems", multiple=True, help="A problem; may be given again. All by default.")
@click.option("--budget", type=int, help="At most so many cones, whatever the problem's own.")
@click.option("--results", type=click.Path(path_type=Path), help="Where finished runs are kept.")
def main(seeds: int, problems: tuple[str, ...], budget: int | None, results: Path | None) -> None:
    """Compare starting cold with learning from an earlier experiment."""
    STRATEGIES.update(WAYS)
    path = results or Path(tempfile.gettempdir()) / "warm_start.jsonl"
    lines = path.read_text(encoding="utf-8").splitlines() if path.exists() else []
    runs = [json.loads(line) for line in lines]
    done = {(one["problem"], one["strategy"], one["seed"], one["budget"]) for one in runs}
    wanted = [
        (name, way, seed, min(PROBLEMS[name], budget or PROBLEMS[name]))
        for seed in range(seeds)
        for name in problems or PROBLEMS
        for way in WAYS
    ]
    for place, task in enumerate(wanted, start=1):
        if task in done:
            continue
        runs.append(run(*task))
        with path.open("a", encoding="utf-8") as file:
            file.write(json.dumps(runs[-1]) + "\n")
        click.echo(f"{place}/{len(wanted)} {task[0]}, {task[1]}, seed {task[2]}", err=True)
    runs = [one for one in runs if (one["problem"], one["strategy"], one["seed"], one["budget"])
            in set(wanted)]  # fmt: skip
    order = {name: place for place, name in enumerate(WAYS)}
    runs.sort(key=lambda one: (one["problem"], order[one["strategy"]], one["seed"]))
    click.echo("mean, then = ratio to cold (90 % interval over seeds)")
    head = ["problem", "start", "seeds", "censored", f"cones to {WITHIN:.0%}", "area",
            "kept regret", "seconds a proposal"]  # fmt: skip
    for row in [head, ["---"] * len(head), *ratio_table(summaries(runs), base="cold")]:
        click.echo("| " + " | ".join(row) + " |")


if __name__ == "__main__":
    main()
