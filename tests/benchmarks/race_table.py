"""From finished runs to one table of ratios with intervals.

Definitions
-----------
regret
    (best - truth) / (best - typical) of the best true recipe measured so far; truth is free of
    noise, typical the median printable recipe. A failed print adds nothing; before anything
    printed the regret is 1.
cones
    The first cone at which the regret is at most `WITHIN`. A run that is not there at its budget
    may go on to its limit; limit + 1 when it never is (censored, so that a mean understates).
area
    Sum of the regret over all cones of the budget.
kept
    Regret of the cone recommended at the budget.
seconds
    A proposal, the mean of a run.

A ratio is mean over seeds, for `median` the median of the cones, divided by ours; its interval is
the 5 % to 95 % of 2000 resamplings of the seeds that both have, in pairs. `area` and `kept` count
as at least `FLOOR`, so that a ratio exists.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

__all__ = ["MEASURES", "geometric_table", "ratio_table", "summaries"]

WITHIN = 0.05
FLOOR = 0.001
RESAMPLES = 2000
MEASURES = ("cones", "median", "area", "kept", "seconds")

Floats = npt.NDArray[np.float64]
Middle = Callable[..., Any]


def summary(run: dict[str, Any], within: float = WITHIN) -> dict[str, Any]:
    """Reduce one run to its numbers."""
    regrets = np.array([1.0 if r is None else r for r in run["regrets"]], dtype=float)
    simple = np.minimum.accumulate(np.minimum(regrets, 1.0))
    budget, limit = run["budget"], run.get("limit", run["budget"])
    there = np.flatnonzero(simple <= within)
    return {
        "problem": run["problem"],
        "strategy": run["strategy"],
        "seed": run["seed"],
        "cones": int(there[0]) + 1 if len(there) else limit + 1,
        "censored": not len(there),
        "area": max(FLOOR, float(simple[:budget].sum())),
        "kept": max(FLOOR, 1.0 if run["kept"] is None else run["kept"]),
        "seconds": float(np.mean(run["seconds"])) if run["seconds"] else np.nan,
    }


def summaries(runs: list[dict[str, Any]], within: float = WITHIN) -> pd.DataFrame:
    """Give a row a run."""
    return pd.DataFrame([summary(run, within) for run in runs])


def resampled(
    ours: Floats, other: Floats, rng: np.random.Generator, middle: Middle = np.mean
) -> Floats:
    """Ratios of middles, other to ours, the first of all seeds, the rest of resampled ones."""
    picks = rng.integers(len(ours), size=(RESAMPLES, len(ours)))
    picks = np.vstack([np.arange(len(ours)), picks])
    return np.asarray(middle(other[picks], axis=1) / middle(ours[picks], axis=1))


def _ratios(table: pd.DataFrame, base: str) -> dict[tuple[str, str, str], Floats]:
    found = {}
    for task, part in table.groupby("problem", sort=False):
        wide = part.set_index(["strategy", "seed"])
        if base not in wide.index.get_level_values(0):
            continue
        for name in part["strategy"].unique():
            seeds = wide.loc[base].index.intersection(wide.loc[name].index)
            for measure in MEASURES:
                column, middle = _origin(measure)
                ours = wide.loc[base].loc[seeds, column].to_numpy(dtype=float)
                other = wide.loc[name].loc[seeds, column].to_numpy(dtype=float)
                rng = np.random.default_rng(0)
                if len(seeds):
                    found[str(task), str(name), measure] = resampled(ours, other, rng, middle)
    return found


def _origin(measure: str) -> tuple[str, Middle]:
    """Give the column that a measure is taken from and what stands for all seeds."""
    return ("cones", np.median) if measure == "median" else (measure, np.mean)


def _shown(sample: Floats) -> str:
    low, high = np.quantile(sample[1:], [0.05, 0.95])
    return f"{sample[0]:.2f} ({low:.2f}..{high:.2f})"


def ratio_table(table: pd.DataFrame, base: str = "ours") -> list[list[str]]:
    """Give rows of text: a problem and strategy each; absolute means, then ratios to `base`."""
    ratios = _ratios(table, base)
    rows = []
    for (task, name), part in table.groupby(["problem", "strategy"], sort=False):
        row = [str(task), str(name), str(len(part)), f"{int(part['censored'].sum())}"]
        for measure, form in zip(MEASURES, (".1f", ".1f", ".2f", ".3f", ".3f"), strict=True):
            sample = ratios.get((str(task), str(name), measure))
            column, middle = _origin(measure)
            mean = format(float(middle(part[column])), form)
            row.append(mean if sample is None or name == base else f"{mean} = {_shown(sample)}")
        rows.append(row)
    return rows


def geometric_table(table: pd.DataFrame, base: str = "ours") -> list[list[str]]:
    """Geometric mean of each strategy's ratios over the problems that it has in full.

    Seeds are resampled a problem by itself, so the interval is over seeds, not over problems.
    """
    ratios = _ratios(table, base)
    rows = []
    for name in table["strategy"].unique():
        tasks = [task for task, other, measure in ratios if other == name and measure == "cones"]
        if name == base or not tasks:
            continue
        row = ["all", str(name), str(len(tasks)), ""]
        for measure in MEASURES:
            logs = [
                np.random.default_rng(place).permutation(np.log(ratios[task, name, measure][1:]))
                for place, task in enumerate(tasks)
            ]
            first = np.mean([np.log(ratios[task, name, measure][0]) for task in tasks])
            row.append(_shown(np.exp(np.append(first, np.mean(logs, axis=0)))))
        rows.append(row)
    return rows
