"""A against B over the same other settings, and which settings suit which."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from optimiser.answers import Estimate, Paired, Settings
from optimiser.partial import nearest_place, promising
from optimiser.paths import DrawnFunctions
from optimiser.pool import repeatability
from optimiser.sobol import draw_sample
from optimiser.surrogate import Model, estimate, unknown

__all__ = ["equivalence", "pair"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]

_PROFILES = 256


def equivalence(difference: Floats, margin: float) -> float:
    """Give the larger probability of two that drawn differences lie over a margin, up or down.

    Parameters
    ----------
    difference : ndarray
        Draws.
    margin : float

    Returns
    -------
    float
        NaN where the margin is not known. Under 0.05 the 90 % interval lies within the margin:
        the two one-sided tests of Schuirmann (1987), J. Pharmacokinetics and Biopharmaceutics 15.
    """
    if not np.isfinite(margin):
        return float("nan")
    return float(max(np.mean(difference >= margin), np.mean(difference <= -margin)))


def pair(
    model: Model, functions: dict[str, DrawnFunctions], a: Settings, b: Settings, seed: int
) -> Paired | None:
    """Compare two partial recipes that name the same variables.

    Parameters
    ----------
    model : Model
        Scorable.
    functions : dict of str to DrawnFunctions
        Of every metric.
    a, b : dict
        A few settings each.
    seed : int

    Returns
    -------
    Paired or None
        None where no two printable recipes differ in these settings alone.
    """
    even = draw_sample(model.evidence.space, _PROFILES, seed).codes
    profiles = _both(model, even, a, b)
    if not len(profiles):
        return None
    values = [_values(model, functions, profiles, side) for side in (a, b)]
    cones = {name: part.cones for name, part in model.metrics.items()} | {"score": model.cones}
    apart = {name: (values[0][name] - values[1][name]).mean(axis=1) for name in values[0]}
    difference = {
        name: estimate(apart[name], cones[name]) if name in apart else unknown(0)
        for name in model.plan.metrics
    }
    better = model.goals.sign * (values[0]["score"] - values[1]["score"]) > 0
    suits, contrast = _suits(model, functions, profiles, a, b, seed)
    return Paired(
        profiles=len(profiles),
        difference=difference,
        score=estimate(apart["score"], model.cones),
        share=estimate(better.mean(axis=1), model.cones),
        equivalence=equivalence(apart["score"], repeatability(model)),
        suits_a=suits[0],
        suits_b=suits[1],
        contrast=contrast,
        told=contrast.low > 0 or contrast.high < 0,
    )


def _both(model: Model, codes: Codes, a: Settings, b: Settings) -> Codes:
    """Keep the settings (hidden ones included) that print with either side's."""
    space = model.evidence.space
    printable = [
        space.printable_codes(space.active_codes(_with(model, codes, side))) for side in (a, b)
    ]
    return np.asarray(codes[printable[0] & printable[1]])


def _with(model: Model, codes: Codes, side: Settings) -> Codes:
    """Put a side's settings into recipes."""
    names, codes = list(model.plan.variables), codes.copy()
    for key, value in side.items():
        codes[:, names.index(key)] = nearest_place(model.plan.variables[key], value)
    return codes


def _frame(model: Model, codes: Codes, side: Settings) -> pd.DataFrame:
    """Give recipes with a side's settings, which may lie off their steps."""
    space = model.evidence.space
    frame = space.frame(np.asarray(space.active_codes(_with(model, codes, side))))
    for key, value in side.items():
        frame[key] = frame[key].where(frame[key].isna(), value)
    return frame


def _values(
    model: Model, functions: dict[str, DrawnFunctions], codes: Codes, side: Settings
) -> dict[str, Floats]:
    """Give drawn metrics and scores (functions, recipes)."""
    points = model.encoding(_frame(model, codes, side))
    values = {name: function(points) for name, function in functions.items()}
    score = model.goals.score({name: values[name] for name in model.goals.needed})
    return values | {"score": np.nan_to_num(score, nan=np.nanmin(score, initial=0.0))}


def _suits(
    model: Model,
    functions: dict[str, DrawnFunctions],
    profiles: Codes,
    a: Settings,
    b: Settings,
    seed: int,
) -> tuple[list[Settings], Estimate]:
    """Find the other settings that suit each side, and by how much they suit it more."""
    space = model.evidence.space
    best = np.vstack([space.codes(promising(model, side, seed)) for side in (a, b)])
    # A knob that a promising recipe lacks is given the middle of its grid should it come to be.
    middle = np.array([len(v.grid) // 2 for v in model.plan.variables.values()], dtype=np.int32)
    filled = np.where(best >= 0, best, middle).astype(np.int32)
    codes = np.vstack([profiles, _both(model, filled, a, b)])
    scores = [model.goals.sign * _values(model, functions, codes, s)["score"] for s in (a, b)]
    at = [int(score.mean(axis=0).argmax()) for score in scores]
    suits = []
    for place, side in zip(at, (a, b), strict=True):
        whole = space.settings(_frame(model, codes[[place]], side).iloc[0])
        suits.append({name: value for name, value in whole.items() if name not in side})
    ahead = scores[0] - scores[1]
    return suits, estimate(ahead[:, at[0]] - ahead[:, at[1]], model.cones)
