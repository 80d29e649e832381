"""Finding the recipe that an acquisition values most, among what can be printed.

Small spaces are valued whole. Large ones: evenly spread recipes and the neighbourhood of the
known ones are valued, then the best are climbed from along the grid, by strides that shrink to one
step, so that a finer grid does not shorten the way.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from experiments.space import Space

__all__ = ["best_codes", "without"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]
Value = Callable[[Codes], Floats]
Move = Callable[[Codes], Codes]
Around = Callable[[Codes, float], Codes]

_WHOLE = 4_000
_SPREAD = 2_048
_SIFTED = 256  # recipes that are valued in full after a rough sorting
_CLIMBERS = 6
_STEPS = 30
_REACH = 0.01  # first stride, as a share of a knob's range


def best_codes(
    space: Space,
    value: Value,
    known: Codes,
    *,
    seed: int,
    exclude: Codes,
    onto: Move,
    rough: Value | None = None,
) -> Codes | None:
    """Give the codes of the printable recipe with the highest value.

    Parameters
    ----------
    space : Space
    value : callable
        Codes of shape (m, d) to values of shape (m,).
    known : ndarray of shape (k, d)
        Recipes around which to look, best first.
    seed : int
    exclude : ndarray of shape (e, d)
        Recipes that may not be given.
    onto : callable
        Moves recipes to where they may be sought, and leaves out those that cannot be moved.
    rough : callable, optional
        A quicker value; where many recipes are to be valued, only those that are best by it are
        valued in full.

    Returns
    -------
    ndarray of shape (d,) or None
        None if nothing is left.
    """
    count = space.count(limit=_WHOLE)
    if count.exact and count.number <= _WHOLE:
        field = _sifted(without(onto(space.enumerate_codes(_WHOLE)), exclude), rough)
        return field[int(np.argmax(value(field)))] if len(field) else None
    field = space.sample_codes(_SPREAD, seed)
    if len(known):
        field = np.vstack([field, space.neighbour_codes(known[:8])])
    field = without(onto(np.unique(field, axis=0)), exclude)
    if not len(field):
        return None
    field = _sifted(field, rough)

    def around(codes: Codes, reach: float) -> Codes:
        return onto(space.neighbour_codes(codes, reach))

    return _climb(around, value, field, exclude, _reaches(space))


def _reaches(space: Space) -> list[float]:
    """Strides as shares of a knob's range, each a quarter of the one before, down to one step."""
    largest = max((len(each.grid) for each in space.plan.variables.values()), default=1)
    reaches = [_REACH]
    while round(reaches[-1] * (largest - 1)) > 1:
        reaches.append(reaches[-1] / 4)
    return reaches


def _sifted(field: Codes, rough: Value | None) -> Codes:
    """Give the recipes that are best by the rough value."""
    if rough is None or len(field) <= _SIFTED:
        return field
    order = np.argsort(-rough(field), kind="stable")
    return np.asarray(field[order[:_SIFTED]])


def _climb(
    around_of: Around, value: Value, field: Codes, exclude: Codes, reaches: list[float]
) -> Codes:
    """Step to better neighbours from the best few recipes until none is better."""
    values = value(field)
    order = np.argsort(-values, kind="stable")[:_CLIMBERS]
    front, heights = field[order], values[order]
    best, top = front[0], heights[0]
    seen = np.vstack([field, exclude.astype(field.dtype)])
    for reach in reaches:
        for _ in range(_STEPS):
            around = without(around_of(front, reach), seen)
            if not len(around):
                break
            seen = np.vstack([seen, around])
            found = value(around)
            front = np.vstack([front, around])
            heights = np.concatenate([heights, found])
            order = np.argsort(-heights, kind="stable")[:_CLIMBERS]
            front, heights = front[order], heights[order]
            if heights[0] <= top + 1e-9:
                break
            best, top = front[0], heights[0]
    return np.asarray(best)


def without(codes: Codes, exclude: Codes) -> Codes:
    """Drop the excluded rows, order kept."""
    if not len(exclude) or not len(codes):
        return codes
    banned = {row.tobytes() for row in exclude.astype(codes.dtype)}
    keep = np.array([row.tobytes() not in banned for row in codes], dtype=bool)
    return np.asarray(codes[keep])
