"""The recipes among which the best is sought, and drawn scores of them.

Answers about 'the best printable recipe' need one score a recipe a drawn function. Where there
are too many recipes to value all, evenly spread ones stand for them, made denser around those
that the model expects or allows to be good.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from optimiser.paths import DrawnFunctions
from optimiser.search import without
from optimiser.surrogate import Model

__all__ = ["dense_pool", "drawn_utility", "held_pool", "repeatability"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]

_WHOLE = 3_000
_SPREAD = 1_536
_ROUNDS = 3
_TOP = 12


def dense_pool(model: Model, functions: DrawnFunctions, *, seed: int) -> tuple[Codes, Floats]:
    """Give recipes and their drawn utility.

    Parameters
    ----------
    model : Model
        Scorable.
    functions : DrawnFunctions
        Of the score.
    seed : int

    Returns
    -------
    codes : ndarray of shape (m, d)
    utility : ndarray of shape (functions, m)
        The score, or the single metric with the sign that makes larger better. Both are
        read-only: a model keeps them, since every answer about the best recipe asks for them.
    """
    if seed not in model.pools:
        codes, utility = _dense_pool(model, functions, seed)
        codes.flags.writeable = utility.flags.writeable = False
        model.pools[seed] = codes, utility
    return model.pools[seed]


def _dense_pool(model: Model, functions: DrawnFunctions, seed: int) -> tuple[Codes, Floats]:
    space = model.evidence.space
    count = space.count(limit=_WHOLE)
    if count.exact and count.number <= _WHOLE:
        codes = space.enumerate_codes(_WHOLE)
        return codes, drawn_utility(model, functions, codes)
    measured = model.evidence.recipes(model.evidence.measured)
    known = space.codes(measured)
    known = known[space.printable_codes(known)]
    codes = np.unique(np.vstack([space.sample_codes(_SPREAD, seed), known]), axis=0)
    return _denser(model, functions, codes, drawn_utility(model, functions, codes), {}, _ROUNDS)


def held_pool(
    model: Model,
    functions: DrawnFunctions,
    held: Mapping[int, int],
    *,
    seed: int,
    rounds: int = _ROUNDS,
) -> tuple[Codes, Floats]:
    """Give recipes that have some settings, and their drawn utility.

    Parameters
    ----------
    model, functions, seed
        As for `dense_pool`.
    held : mapping of int to int
        Column of a variable to the place on its grid. Empty: all recipes.
    rounds : int
        How often the recipes around the best are added.

    Returns
    -------
    codes, utility
        As `dense_pool`; no row where no printable recipe has these settings.
    """
    codes, utility = dense_pool(model, functions, seed=seed)
    if not held:
        return codes, utility
    own = _has(codes, held)
    moved = codes[_promising(utility)]
    moved[:, list(held)] = list(held.values())
    moved = np.unique(moved[model.evidence.space.printable_codes(moved)], axis=0)
    new = without(moved, codes[own])
    codes, utility = codes[own], utility[:, own]
    if len(new):
        codes = np.vstack([codes, new])
        utility = np.hstack([utility, drawn_utility(model, functions, new)])
    return _denser(model, functions, codes, utility, held, rounds if len(codes) else 0)


def _denser(
    model: Model,
    functions: DrawnFunctions,
    codes: Codes,
    utility: Floats,
    held: Mapping[int, int],
    rounds: int,
) -> tuple[Codes, Floats]:
    """Add neighbours of the promising recipes, round by round."""
    for _ in range(rounds):
        near = model.evidence.space.neighbour_codes(codes[_promising(utility)])
        new = without(near[_has(near, held)], codes)
        if not len(new):
            break
        codes = np.vstack([codes, new])
        utility = np.hstack([utility, drawn_utility(model, functions, new)])
    return codes, utility


def _has(codes: Codes, held: Mapping[int, int]) -> npt.NDArray[np.bool_]:
    """Find the recipes that have some settings."""
    return np.asarray((codes[:, list(held)] == list(held.values())).all(axis=1))


def _promising(utility: Floats) -> npt.NDArray[np.intp]:
    """Recipes that are best on average, and those that some function holds to be the best."""
    best = np.argsort(-utility.mean(axis=0), kind="stable")[:_TOP]
    winners, wins = np.unique(utility.argmax(axis=1), return_counts=True)
    return np.union1d(best, winners[np.argsort(-wins, kind="stable")][:_TOP])


def drawn_utility(model: Model, functions: DrawnFunctions, codes: Codes) -> Floats:
    """Give the utility of each recipe under each drawn function, (functions, m).

    Where a hard limit is broken a single metric has no value: such a recipe gets the worst
    value of its function, less than any that holds the limit.
    """
    utility = model.goals.sign * functions(model.encoding.of_codes(codes))
    if np.isnan(utility).any():
        worst = np.nanmin(utility, initial=0.0) - 1e-9
        utility = np.where(np.isnan(utility), worst, utility)
    return np.asarray(utility)


def repeatability(model: Model) -> float:
    """Estimate the standard deviation of the score of the leader's recipe made again.

    Returns
    -------
    float
        NaN while there is no leader.
    """
    leader = model.leader()
    if leader is None:
        return float("nan")
    rng = np.random.default_rng([model.seed, 23])
    values = {}
    for name in model.goals.needed:
        part = model.metrics[name]
        level = leader.expected[name].mean
        centre = np.log(level) if part.log else level
        noise = part.process.repeatability_ * rng.standard_normal(4000)
        values[name] = part.back(centre + noise)
    return float(np.nanstd(model.goals.score(values)))
