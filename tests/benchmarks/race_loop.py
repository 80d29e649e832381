"""One run of the race: one problem, one strategy, one seed."""

from __future__ import annotations

import hashlib
import time
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from threadpoolctl import threadpool_limits

from optimiser.proposals import first_cones
from tests.benchmarks.race_problems import RaceProblem, problem, space_of, utility
from tests.benchmarks.race_strategies import STRATEGIES
from tests.benchmarks.race_table import WITHIN

__all__ = ["code_digest", "run"]


@cache
def code_digest() -> str:
    """Tell one state of the chooser's code from another."""
    root = Path(__file__).resolve().parents[2]
    whole = hashlib.sha256()
    for path in sorted([*root.glob("optimiser/*.py"), *root.glob("experiments/*.py")]):
        whole.update(path.read_bytes())
    return whole.hexdigest()[:12]


def first_recipes(task: RaceProblem, seed: int) -> list[dict[str, Any]]:
    """Give the first cones of a seed: our own first design, or rows of the shortlist."""
    number = first_cones(task.plan)
    space = space_of(task.name)
    if task.candidates is not None:
        rows = np.random.default_rng([seed, 5]).permutation(len(task.candidates))[:number]
        frame = task.candidates.iloc[rows]
    else:
        frame = space.sample(number, seed)
    return [space.settings(row) for _, row in frame.iterrows()]


def run(
    name: str, strategy: str, seed: int, budget: int, limit: int | None = None
) -> dict[str, Any]:
    """Run once.

    Parameters
    ----------
    name, strategy : str
    seed : int
    budget : int
        Cones, failed prints and the first ones included.
    limit : int, optional
        A run that is not within 5 % of the best by then goes on until it is, up to so many cones;
        the budget by default.

    Returns
    -------
    dict
        Plain values: ``regrets`` (a cone each, null where the print failed), ``kept`` (regret of
        the cone recommended at the budget), ``seconds`` (a proposal each).
    """
    limit = max(limit or budget, budget)
    task = problem(name)
    first = first_recipes(task, seed)
    chooser = STRATEGIES[strategy](task, seed, len(first), budget)
    trials = pd.DataFrame(
        columns=[*task.plan.variables, *task.plan.metrics, "status", "cone", "session", "utility"]
    )
    regrets: list[float | None] = []
    seconds: list[float] = []
    rows: list[dict[str, Any]] = []
    kept: float | None = None
    with threadpool_limits(1):
        for number in range(1, limit + 1):
            if number > budget and _is_there(regrets):
                break
            if number <= len(first) and not chooser.own_start:
                settings = first[number - 1]
            else:
                start = time.perf_counter()
                settings = chooser.propose(trials)
                seconds.append(round(time.perf_counter() - start, 4))
            heard = task.measure(settings, seed, number)
            regrets.append(None if heard is None else round(task.regret(settings), 6))
            rows.append(
                settings
                | (heard or {})
                | {
                    "status": "failed" if heard is None else "measured",
                    "cone": number,
                    "session": f"s{task.session(number)}",
                    "utility": np.nan if heard is None else utility(task.plan, heard),
                }
            )
            trials = _typed(task, pd.DataFrame(rows).reindex(columns=trials.columns))
            if number == budget:
                printed = trials["utility"].notna().any()
                kept = regrets[chooser.recommend(trials)] if printed else None
    return {
        "problem": name, "strategy": strategy, "seed": seed, "budget": budget,
        "limit": limit, "first": len(first), "regrets": regrets, "kept": kept, "seconds": seconds,
        "code": code_digest() if chooser.ours else "",
    }  # fmt: skip


def _is_there(regrets: list[float | None]) -> bool:
    """Whether any cone so far was within `WITHIN`, as `race_table.summary` counts it."""
    return any(regret is not None and regret <= WITHIN for regret in regrets)


def _typed(task: RaceProblem, frame: pd.DataFrame) -> pd.DataFrame:
    """Give numbers as floats and words as objects, None where inactive."""
    for variable in task.plan.variables.values():
        values = frame[variable.name]
        frame[variable.name] = (
            pd.to_numeric(values).astype(float)
            if variable.numeric
            else values.astype(object).where(values.notna(), None)
        )
    for metric in task.plan.metrics:
        frame[metric] = pd.to_numeric(frame[metric]).astype(float)
    return frame
