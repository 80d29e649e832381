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
from optimiser.wording import (
    interval,
    many,
    percent,
    recipe_line,
    setting,
    sides,
    with_unit,
)

__all__ = ["compare", "compare_levels", "replicates_to_tell"]

Floats = npt.NDArray[np.float64]

_MOST_REPLICATES = 50
_PROMISING = 64  # recipes moved to a setting, and as many that some function holds to be best


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
    names: tuple[str, str] | None = None,
) -> Comparison:
    """Say whether A really beats B.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    a, b : mapping
        Two full recipes; or a few settings each (``{'process': 'resin'}``), and then each side
        is taken at the best of its other settings. A number may lie off its steps.
    seed : int
        Repeats exactly on the same versions.
    model : Model, optional
        From `fit` on the same plan and trials.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.
    names : tuple of str, optional
        What to call the two; the settings in which they differ by default.

    Returns
    -------
    Comparison
        Differences A minus B of the recipes themselves, with 90 % intervals.

    Raises
    ------
    RecipeError
        A side is no recipe or no part of one, or lies outside the limits.
    TrialsError
        A table that does not fit the plan.
    """
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    given = [_read(model, name, side) for name, side in (("a", a), ("b", b))]
    called = names or sides(plan, given[0], given[1])
    recipes = [
        _recipes_of(model, name, side, seed) for name, side in zip(("a", "b"), given, strict=True)
    ]
    if not model.scorable:
        return _cannot_compare(model, given[0], given[1])
    if progress:
        progress(0.5, "comparing in drawn functions")
    functions = _functions(model, seed)
    values = [_at_best(model, functions, frame) for frame in recipes]
    best_of = any(len(frame) > 1 for frame in recipes)
    return _judge(model, given, values, called, best_of=best_of)


@one_thread
def compare_levels(
    plan: Plan,
    trials: pd.DataFrame,
    seed: int = 0,
    *,
    model: Model | None = None,
    progress: Progress | None = None,
) -> list[Comparison]:
    """Compare the levels of each choice, each at the best of all other settings.

    Parameters
    ----------
    plan, trials, seed, model, progress
        As for `compare`.

    Returns
    -------
    list of Comparison
        The level that is best on average against each other one, choices in plan order. A level
        that no printable recipe has is left out.
    """
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    if not model.scorable:
        return []
    functions = _functions(model, seed)
    found: list[Comparison] = []
    choices = [variable for variable in plan.variables.values() if variable.kind == "choice"]
    for place, variable in enumerate(choices):
        if progress:
            progress(place / len(choices), f"comparing {variable.label}")
        found += _levels(model, functions, variable, seed)
    return found


def _levels(
    model: Model, functions: dict[str, DrawnFunctions], variable: Variable, seed: int
) -> list[Comparison]:
    """Compare the best level of one choice with its others."""
    values: list[tuple[Settings, dict[str, Floats]]] = []
    for level in variable.grid.tolist():
        side = {variable.name: level}
        frame = _promising(model, side, seed)
        if len(frame):
            values.append((side, _at_best(model, functions, frame)))
    sign = model.goals.sign
    values.sort(key=lambda each: -sign * float(np.nanmean(each[1]["score"])))
    return [
        _judge(
            model,
            [values[0][0], side],
            [values[0][1], drawn],
            sides(model.plan, values[0][0], side),
            best_of=True,
        )
        for side, drawn in values[1:]
    ]


def _functions(model: Model, seed: int) -> dict[str, DrawnFunctions]:
    return {name: DrawnFunctions(model, name, seed=seed) for name in model.metrics}


def _judge(
    model: Model,
    given: list[Settings],
    values: list[dict[str, Floats]],
    called: tuple[str, str],
    *,
    best_of: bool,
) -> Comparison:
    """Summarise the drawn differences."""
    notes = list(model.notes)
    if best_of:
        notes.append("Each side is taken at the best of its other settings.")
    score = values[0]["score"] - values[1]["score"]
    difference = {
        name: estimate(values[0][name] - values[1][name], model.metrics[name].cones)
        if name in model.metrics
        else unknown(0)
        for name in model.plan.metrics
    }
    better = model.goals.sign * score
    probability = float(np.mean(better > 0) + 0.5 * np.mean(better == 0))
    whole = estimate(score, model.cones)
    replicates = replicates_to_tell(whole.mean, repeatability(model))
    return Comparison(
        a=given[0],
        b=given[1],
        difference=difference,
        score=whole,
        probability=probability,
        replicates=replicates,
        cones=model.cones,
        calibration=model.calibration(),
        notes=notes,
        text=_compare_text(model, whole, probability, replicates, called),
    )


def _read(model: Model, side: str, given: Mapping[str, Any]) -> Settings:
    """Read settings as a person gives them: words among the levels, numbers within the limits."""
    plan = model.plan
    strange = [key for key in given if key not in plan.variables]
    if strange or not given:
        known = f"settings of the plan's variables: {', '.join(plan.variables)}"
        raise RecipeError(Problem(side, ", ".join(strange) or "nothing", known))
    measured = model.evidence.measured
    return {
        name: _number(variable, given[name], measured[name], side)
        if variable.numeric
        else _level(variable, given[name], side)
        for name, variable in plan.variables.items()
        if name in given
    }


def _level(variable: Variable, value: Any, side: str) -> str:
    levels = [str(level) for level in variable.grid]
    if str(value).strip() in levels:
        return str(value).strip()
    raise RecipeError(
        Problem(f"{side}.{variable.name}", repr(value), f"one of {', '.join(levels)}")
    )


def _number(variable: Variable, value: Any, measured: pd.Series, side: str) -> float | int:
    """Read a number; it may lie off the steps, but not outside what was planned or measured."""
    near = [variable.grid[0], variable.grid[-1], *measured.dropna()]
    low, high = float(min(near)), float(max(near))
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = float("nan")
    slack = 1e-9 * (high - low)
    if not low - slack <= number <= high + slack:
        ends = f"{setting(low)} to {setting(high)}"
        expected = f"a number of {with_unit(ends, variable.unit)}"
        raise RecipeError(Problem(f"{side}.{variable.name}", repr(value), expected))
    if variable.kind == "integer":
        if not number.is_integer():
            raise RecipeError(Problem(f"{side}.{variable.name}", repr(value), "a whole number"))
        return int(number)
    return number


def _recipes_of(model: Model, name: str, side: Settings, seed: int) -> pd.DataFrame:
    """Give one whole recipe, or recipes that have a few settings and may be the best of them."""
    space = model.evidence.space
    if _is_whole(model, side):
        return space.rows([space.complete(side, off_grid=True)])
    found = _promising(model, side, seed)
    if not len(found):
        shown = recipe_line(model.plan, side)
        raise RecipeError(Problem(name, shown, "settings that some printable recipe has"))
    return found


def _is_whole(model: Model, side: Settings) -> bool:
    """Whether the settings name every variable that is active under them."""
    space = model.evidence.space
    active = space.active(space.rows([side])).iloc[0]
    return all(key in side for key in model.plan.variables if bool(active[key]))


def _promising(model: Model, side: Settings, seed: int) -> pd.DataFrame:
    """Give recipes with some settings: the pool's own, and its best ones moved there."""
    space, names = model.evidence.space, list(model.plan.variables)
    if model.scorable:
        functions = DrawnFunctions(model, seed=seed)
        codes, utility = dense_pool(model, functions, seed=seed)
    else:
        codes = space.sample_codes(256, seed)
        utility = np.zeros((1, len(codes)))
    moved = codes[_best_of(utility)]
    own = np.ones(len(codes), dtype=bool)
    for key, value in side.items():
        column, place = names.index(key), _nearest(model.plan.variables[key], value)
        own &= codes[:, column] == place
        moved[:, column] = np.where(moved[:, column] >= 0, place, -1)
    agree = [
        moved[:, names.index(key)] == _nearest(model.plan.variables[key], value)
        for key, value in side.items()
    ]
    moved = moved[np.all(agree, axis=0)]
    parts = [moved[space.printable_codes(moved)]]
    if own.any():
        parts.append(codes[own][_best_of(utility[:, own])])
    frame = space.frame(np.unique(np.vstack(parts), axis=0))
    for key, value in side.items():
        frame[key] = value  # a number may lie between two places of its grid
    return frame


def _best_of(utility: Floats) -> npt.NDArray[np.intp]:
    """Give the places of the recipes that are best on average, or in some drawn function."""
    average = np.argsort(-utility.mean(axis=0), kind="stable")[:_PROMISING]
    winners, wins = np.unique(utility.argmax(axis=1), return_counts=True)
    return np.union1d(average, winners[np.argsort(-wins, kind="stable")])


def _nearest(variable: Variable, value: Any) -> int:
    """Find the place on a variable's grid that is nearest to a setting."""
    if variable.numeric:
        return int(np.argmin(np.abs(variable.grid.astype(float) - float(value))))
    return [str(level) for level in variable.grid].index(value)


def _at_best(
    model: Model, functions: dict[str, DrawnFunctions], recipes: pd.DataFrame
) -> dict[str, Floats]:
    """Drawn values of every metric and the score at each function's best recipe."""
    points = model.encoding(recipes)
    values = {name: function(points) for name, function in functions.items()}
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
    model: Model,
    score: Estimate,
    probability: float,
    replicates: int | None,
    called: tuple[str, str],
) -> str:
    """One plain sentence."""
    a, b = called
    name = "score" if model.goals.raw is None else model.goals.raw.label
    detail = (
        f"difference in {name} {interval(score, model.goals.unit)} at 90 %, from "
        f"{many(model.cones, 'cone')}"
    )
    if probability >= 0.95:
        return _sentence(f"{a} beats {b} with probability {percent(probability)}: {detail}.")
    if probability <= 0.05:
        return _sentence(f"{b} beats {a} with probability {percent(1 - probability)}: {detail}.")
    more = (
        f"about {many(replicates, 'cone')} of each would tell"
        if replicates is not None
        else f"not even {_MOST_REPLICATES} cones of each would tell"
    )
    return (
        f"Cannot tell yet: {a} beats {b} with probability {percent(probability)}; {detail}; "
        f"{more}."
    )


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:]


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
        text=f"Cannot tell yet: {many(model.cones, 'measured cone')}.",
    )
