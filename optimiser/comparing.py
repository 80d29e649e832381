"""Does A beat B: two recipes, or two partial recipes each at its best."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from experiments.errors import Problem, RecipeError
from experiments.plan import Plan, Variable
from optimiser.answers import Comparison, Estimate, Settings
from optimiser.paths import DrawnFunctions
from optimiser.pool import dense_pool, repeatability
from optimiser.surrogate import Model, Progress, estimate, fit, unknown
from optimiser.threads import one_thread
from optimiser.wording import interval, percent

__all__ = ["compare", "replicates_to_tell"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]

_MOST_REPLICATES = 50


@one_thread
def compare(
    plan: Plan,
    trials: pd.DataFrame,
    a: Mapping[str, Any],
    b: Mapping[str, Any],
    seed: int = 0,
    *,
    model: Model | None = None,
    progress: Progress | None = None,
) -> Comparison:
    """Say whether A really beats B.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    a, b : mapping
        Two full recipes; or a few settings each (``{'process': 'resin'}``), and then each side
        is taken at the best of its other settings.
    seed : int
        Repeats exactly on the same versions.
    model : Model, optional
        From `fit` on the same plan and trials.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Comparison
        Differences A minus B of the recipes themselves, with 90 % intervals.

    Raises
    ------
    RecipeError
        A side is no recipe or no part of one.
    TrialsError
        A table that does not fit the plan.
    """
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    sides = [_codes_of(model, name, side) for name, side in (("a", a), ("b", b))]
    if not model.scorable:
        return _cannot_compare(model, dict(a), dict(b))
    if progress:
        progress(0.5, "comparing in drawn functions")
    notes = list(model.notes)
    if any(len(side) > 1 for side in sides):
        notes.append("Each side is taken at the best of its other settings.")
    values = [_side_values(model, side, seed) for side in sides]
    score = values[0]["score"] - values[1]["score"]
    difference = {
        name: estimate(values[0][name] - values[1][name], model.metrics[name].cones)
        if name in model.metrics
        else unknown(0)
        for name in plan.metrics
    }
    better = model.goals.sign * score
    probability = float(np.mean(better > 0) + 0.5 * np.mean(better == 0))
    whole = estimate(score, model.cones)
    replicates = replicates_to_tell(whole.mean, repeatability(model))
    return Comparison(
        a=dict(a),
        b=dict(b),
        difference=difference,
        score=whole,
        probability=probability,
        replicates=replicates,
        cones=model.cones,
        calibration=model.calibration(),
        notes=notes,
        text=_compare_text(model, whole, probability, replicates),
    )


def _codes_of(model: Model, name: str, side: Mapping[str, Any]) -> pd.DataFrame | Codes:
    """Give one recipe as a frame, or the codes of all recipes that agree with a few settings."""
    space, plan = model.evidence.space, model.plan
    unknown_names = [key for key in side if key not in plan.variables]
    if unknown_names or not side:
        raise RecipeError(
            Problem(
                name, ", ".join(unknown_names) or "nothing", "settings of the plan's variables"
            )
        )
    if _is_whole(model, side):
        settings = space.complete(dict(side), off_grid=True)
        return space.rows([settings])
    wanted = {key: _code(plan.variables[key], value, name) for key, value in side.items()}
    functions = DrawnFunctions(model, seed=model.seed) if model.scorable else None
    if functions is None:
        codes = space.sample_codes(256, model.seed)
    else:
        codes, _ = dense_pool(model, functions, seed=model.seed)
    names = list(plan.variables)
    fixed = codes.copy()
    for key, code in wanted.items():
        column = names.index(key)
        fixed[:, column] = np.where(fixed[:, column] >= 0, code, -1)
    fixed = fixed[np.all([fixed[:, names.index(k)] == c for k, c in wanted.items()], axis=0)]
    own = codes[np.all([codes[:, names.index(k)] == c for k, c in wanted.items()], axis=0)]
    pool = np.unique(np.vstack([fixed[space.printable_codes(fixed)], own]), axis=0)
    if not len(pool):
        raise RecipeError(Problem(name, repr(dict(side)), "settings that some recipe can have"))
    return pool


def _is_whole(model: Model, side: Mapping[str, Any]) -> bool:
    """Whether the settings name every variable that is active under them."""
    plan = model.plan
    frame = pd.DataFrame([{key: side.get(key) for key in plan.variables}])
    for key, variable in plan.variables.items():
        if variable.numeric:
            frame[key] = pd.to_numeric(frame[key], errors="coerce").astype(float)
    active = model.evidence.space.active(frame).iloc[0]
    return all(key in side for key in plan.variables if bool(active[key]))


def _code(variable: Variable, value: Any, name: str) -> int:
    """Find a setting on its variable's grid."""
    grid = variable.grid
    try:
        if variable.numeric:
            place = int(np.argmin(np.abs(grid.astype(float) - float(value))))
            if np.isclose(float(grid[place]), float(value)):
                return place
        else:
            return [str(level) for level in grid].index(str(value))
    except ValueError:
        pass
    shown = ", ".join(str(level) for level in grid[:8]) + (", ..." if len(grid) > 8 else "")
    raise RecipeError(Problem(f"{name}.{variable.name}", repr(value), f"one of {shown}"))


def _side_values(model: Model, side: pd.DataFrame | Codes, seed: int) -> dict[str, Floats]:
    """Drawn values of every metric and the score at one recipe, or at each function's best."""
    if isinstance(side, pd.DataFrame):
        points = model.encoding(side)
    else:
        points = model.encoding.of_codes(side)
    values = {name: DrawnFunctions(model, name, seed=seed)(points) for name in model.metrics}
    score = model.goals.score({name: values[name] for name in model.goals.needed})
    rank = model.goals.sign * score
    best = np.argmax(np.where(np.isnan(rank), -np.inf, rank), axis=1)
    rows = np.arange(len(best))
    return {name: value[rows, best] for name, value in (values | {"score": score}).items()}


def replicates_to_tell(difference: float, sd: float) -> int | None:
    """Cones of each of two recipes so that their difference would be told from none.

    Parameters
    ----------
    difference : float
        True difference of the means.
    sd : float
        Standard deviation of one cone's value.

    Returns
    -------
    int or None
        Smallest n at which the 90 % interval of the difference of two means excludes zero with
        probability 0.8; None over 50 or where nothing can be said.

    Notes
    -----
    ``n = 2 ((z_0.95 + z_0.80) sd / difference)²``, the usual normal-theory sample size.
    """
    if not (np.isfinite(difference) and np.isfinite(sd)) or difference == 0:
        return None
    z = float(special.ndtri(0.95) + special.ndtri(0.80))
    n = int(np.ceil(2 * (z * sd / difference) ** 2))
    return max(n, 1) if n <= _MOST_REPLICATES else None


def _compare_text(
    model: Model, score: Estimate, probability: float, replicates: int | None
) -> str:
    """One plain sentence."""
    name = "score" if model.goals.raw is None else model.goals.raw.label
    detail = (
        f"difference in {name} {interval(score, model.goals.unit)} at 90 %, from "
        f"{model.cones} cones"
    )
    if probability >= 0.95:
        return f"A beats B with probability {percent(probability)}: {detail}."
    if probability <= 0.05:
        return f"B beats A with probability {percent(1 - probability)}: {detail}."
    more = (
        f"about {replicates} cone(s) of each would tell"
        if replicates is not None
        else f"not even {_MOST_REPLICATES} cones of each would tell"
    )
    return f"Cannot tell yet: A beats B with probability {percent(probability)}; {detail}; {more}."


def _cannot_compare(model: Model, a: Settings, b: Settings) -> Comparison:
    blank = unknown(model.cones)
    return Comparison(
        a=a,
        b=b,
        difference=dict.fromkeys(model.plan.metrics, blank),
        score=blank,
        probability=float("nan"),
        replicates=None,
        cones=model.cones,
        calibration=model.calibration(),
        notes=list(model.notes),
        text=f"Cannot tell yet: {model.cones} measured cone(s).",
    )
