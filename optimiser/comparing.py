"""Does A beat B: two recipes, or two partial recipes each at its best."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from experiments.plan import Plan, Variable
from optimiser.answers import Comparison, Estimate, Paired, Settings
from optimiser.fitting import fit
from optimiser.pairing import equivalence, pair
from optimiser.partial import is_whole, promising, read_settings, recipes_with
from optimiser.paths import DrawnFunctions
from optimiser.pool import repeatability
from optimiser.surrogate import Model, Progress, estimate, unknown
from optimiser.threads import one_thread
from optimiser.twins import apart_text, twins
from optimiser.wording import interval, many, percent, recipe_line, sides

__all__ = ["compare", "compare_levels", "power_to_tell", "replicates_to_tell"]

Floats = npt.NDArray[np.float64]

_MOST_REPLICATES = 50
_POWERS = (1, 3, 10)  # cones of each for which the power is told
_EQUAL = 0.05


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
    cones: tuple[str, str] | None = None,
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
    cones : tuple of str, optional
        Numbers of the two cones whose recipes these are: if they are one recipe, what the cones
        gave is set side by side.

    Returns
    -------
    Comparison
        Differences A minus B of the recipes themselves, with 90 % intervals: each side at its
        best, and where both name the same few settings, over the same other settings too.

    Raises
    ------
    RecipeError
        A side is no recipe or no part of one, or lies outside the limits.
    TrialsError
        A table that does not fit the plan.
    """
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    given = [read_settings(model, name, side) for name, side in (("a", a), ("b", b))]
    called = names or sides(plan, given[0], given[1])
    recipes = [
        recipes_with(model, name, side, seed) for name, side in zip(("a", "b"), given, strict=True)
    ]
    if not model.scorable:
        return _cannot_compare(model, given[0], given[1])
    if progress:
        progress(0.5, "comparing in drawn functions")
    functions = _functions(model, seed)
    values = [_at_best(model, functions, frame) for frame in recipes]
    free = [name for name, side in zip(called, given, strict=True) if not is_whole(model, side)]
    same = len(recipes[0]) == len(recipes[1]) == 1 and recipes[0].equals(recipes[1])
    same = same or given[0] == given[1]
    paired = None
    if len(free) == 2 and set(given[0]) == set(given[1]) and not same:
        paired = pair(model, functions, given[0], given[1], seed)
    if same:
        return _same(model, given, called, cones)
    return _judge(model, given, values, called, free=free, paired=paired)


@one_thread
def compare_levels(
    plan: Plan,
    trials: pd.DataFrame,
    seed: int = 0,
    *,
    model: Model | None = None,
    progress: Progress | None = None,
) -> list[Comparison]:
    """Compare the levels of each choice, each at its best and over the same other settings.

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
        frame = promising(model, side, seed)
        if len(frame):
            values.append((side, _at_best(model, functions, frame)))
    sign = model.goals.sign
    values.sort(key=lambda each: -sign * float(np.nanmean(each[1]["score"])))
    return [
        _judge(
            model,
            [values[0][0], side],
            [values[0][1], drawn],
            called := sides(model.plan, values[0][0], side),
            free=called,
            paired=pair(model, functions, values[0][0], side, seed),
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
    free: Sequence[str],
    paired: Paired | None = None,
) -> Comparison:
    """Summarise the drawn differences; `free` are the sides taken at their best."""
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
    spread = repeatability(model)
    replicates = replicates_to_tell(whole.mean, spread)
    alike = equivalence(score[np.isfinite(score)], spread)
    return Comparison(
        a=given[0],
        b=given[1],
        difference=difference,
        score=whole,
        probability=probability,
        replicates=replicates,
        cones=model.cones,
        calibration=model.calibration(),
        notes=list(model.notes),
        text=_compare_text(model, whole, probability, replicates, called, free, alike)
        + (_paired_text(model, called, paired) if paired else ""),
        equivalence=alike,
        power={n: power_to_tell(whole.mean, spread, n) for n in _POWERS},
        paired=paired,
    )


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


def power_to_tell(difference: float, sd: float, count: int) -> float:
    """Probability that so many cones of each of two recipes tell their difference from none.

    Parameters
    ----------
    difference, sd : float
        As for `replicates_to_tell`.
    count : int
        Cones of each.

    Returns
    -------
    float
        That the 90 % interval of the difference of two means excludes zero, by normal theory;
        NaN where nothing can be said.
    """
    if not (np.isfinite(difference) and np.isfinite(sd) and sd > 0):
        return float("nan")
    away = abs(difference) / (sd * np.sqrt(2 / count))
    z = special.ndtri(0.95)
    return float(special.ndtr(away - z) + special.ndtr(-away - z))


def _paired_text(model: Model, called: tuple[str, str], paired: Paired) -> str:
    """Say how the two compare over equal other settings, and what suits which."""
    a, b = called
    unit = model.goals.unit
    score = model.goals.sign * np.array([paired.score.low, paired.score.high])
    ahead = a if score.min() > 0 else b if score.max() < 0 else ""
    verdict = (
        f"{ahead} is ahead"
        if ahead
        else "they are equal within the repeatability"
        if paired.equivalence < _EQUAL
        else "cannot tell yet which is ahead"
    )
    text = (
        f" Over the same other settings, averaged, {verdict}: {interval(paired.score, unit)} at "
        "90 %."
    )
    if not paired.told:
        return text + " Whether each wants settings of its own: cannot tell yet."
    suits = [recipe_line(model.plan, each) for each in (paired.suits_a, paired.suits_b)]
    return text + (
        f" Each wants settings of its own, worth {interval(paired.contrast, unit)}: {a} wants "
        f"{suits[0]}; {b} wants {suits[1]}."
    )


def _compare_text(
    model: Model,
    score: Estimate,
    probability: float,
    replicates: int | None,
    called: tuple[str, str],
    free: Sequence[str],
    alike: float,
) -> str:
    """One plain sentence."""
    a, b = called
    whose = "each side" if len(free) == 2 else "".join(free)
    at_best = f", {whose} at the best of its other settings" if free else ""
    name = "score" if model.goals.raw is None else model.goals.raw.label
    detail = (
        f"difference in {name} {interval(score, model.goals.unit)} at 90 %, from "
        f"{many(model.cones, 'cone')}"
    )
    if probability >= 0.95:
        return _sentence(
            f"{a} beats {b} with probability {percent(probability)}{at_best}: {detail}."
        )
    if probability <= 0.05:
        return _sentence(
            f"{b} beats {a} with probability {percent(1 - probability)}{at_best}: {detail}."
        )
    if alike < _EQUAL:
        return _sentence(f"{a} and {b} are equal within the repeatability{at_best}: {detail}.")
    more = (
        f"about {many(replicates, 'cone')} of each would tell"
        if replicates is not None
        else f"not even {_MOST_REPLICATES} cones of each would tell"
    )
    return (
        f"Cannot tell yet: {a} beats {b} with probability {percent(probability)}{at_best}; "
        f"{detail}; {more}."
    )


def _same(
    model: Model, given: list[Settings], called: tuple[str, str], cones: tuple[str, str] | None
) -> Comparison:
    """Answer where there is nothing to compare but two prints of one recipe."""
    nothing = Estimate(0.0, 0.0, 0.0, model.cones)
    found = twins(model, cones) if cones is not None and cones[0] != cones[1] else []
    units = {name: metric.unit for name, metric in model.plan.metrics.items()}
    return Comparison(
        a=given[0],
        b=given[1],
        difference=dict.fromkeys(model.plan.metrics, nothing),
        score=nothing,
        probability=0.5,
        replicates=None,
        cones=model.cones,
        calibration=model.calibration(),
        notes=list(model.notes),
        text=_same_text(called) + (apart_text(model, found, units) if found else ""),
        same=True,
        twins=found,
    )


def _same_text(called: tuple[str, str]) -> str:
    """Say that there is nothing to compare."""
    a, b = called
    if a == b:
        return _sentence(f"{a} is compared with itself: the same recipe, so no difference.")
    return _sentence(
        f"{a} and {b} are the same recipe, to which the model gives one value: where two such "
        "cones differ, it is by printing and measuring."
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
