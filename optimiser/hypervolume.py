"""The volume that a front of traded metrics covers, and what a further recipe would add to it.

Positions are counted from poor (0) to good (1) in each metric, larger being better; the volume
lies between the corner where all are poor and the front (Zitzler & Thiele 1999, Multiobjective
evolutionary algorithms, IEEE Transactions on Evolutionary Computation 3(4); from memory). It is
exact: the space is cut along all metrics but the last into columns, in each of which the front
has one height.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from math import prod

import numpy as np
import numpy.typing as npt

__all__ = ["Columns", "hypervolume", "undominated"]

Floats = npt.NDArray[np.float64]


def undominated(rises: Floats) -> npt.NDArray[np.bool_]:
    """Tell which recipes no other one of their set beats.

    Parameters
    ----------
    rises : ndarray of shape (draws, n, k)
        Position of n recipes in k metrics; one with a NaN is never on the front.

    Returns
    -------
    ndarray of bool, shape (draws, n)
        False where another recipe is as good in every metric and better in one.
    """
    unknown = np.asarray(np.isnan(rises).any(axis=2))
    sides = [np.where(unknown, -np.inf, side) for side in np.moveaxis(rises, 2, 0)]
    beaten = unknown.copy()
    for place in range(rises.shape[1]):
        as_good = np.ones_like(beaten)
        better = np.zeros_like(beaten)
        for side in sides:
            rival = side[:, place, None]
            as_good &= rival >= side
            better |= rival > side
        beaten |= as_good & better
    return ~beaten


@dataclass(frozen=True)
class Columns:
    """The space above a front, cut into columns.

    Parameters
    ----------
    edges : list of ndarray of shape (draws, p)
        For each metric but the last, where columns begin: rising from 0; the last has no end.
    heights : ndarray of shape (draws, p, ...)
        How high the front is in the last metric, a column.
    """

    edges: list[Floats]
    heights: Floats

    @classmethod
    def above(cls, rises: Floats) -> Columns:
        """Cut the space above the front of each draw.

        Parameters
        ----------
        rises : ndarray of shape (draws, n, k)
            What is not above 0 in every metric, or is NaN, counts for nothing.
        """
        covers = (rises > 0).all(axis=2) & undominated(rises)
        most = int(covers.sum(axis=1).max(initial=0))
        first = np.argsort(~covers, axis=1, kind="stable")[:, :most, None]
        front = np.where(covers[..., None], rises, 0.0)
        front = np.take_along_axis(front, first, axis=1)
        start = np.zeros((len(rises), 1))
        edges = [np.hstack([start, np.sort(side, axis=1)]) for side in np.moveaxis(front, 2, 0)]
        heights = np.zeros((len(rises),) + (most + 1,) * (len(edges) - 1))
        for place in range(most):
            under = np.ones_like(heights, dtype=bool)
            for axis, side in enumerate(edges[:-1]):
                below = side < front[:, place, axis, None]
                under &= np.expand_dims(below, [1 + a for a in range(len(edges) - 1) if a != axis])
            level = front[:, place, -1].reshape(-1, *[1] * (heights.ndim - 1))
            heights = np.maximum(heights, np.where(under, level, 0.0))
        return cls(edges[:-1], heights)

    def take(self, draws: npt.NDArray[np.intp]) -> Columns:
        """Give the same of some draws."""
        return Columns([side[draws] for side in self.edges], self.heights[draws])

    def volume(self) -> Floats:
        """Give the volume under the front, shape (draws,)."""
        widths = [np.diff(side, axis=1) for side in self.edges]
        total = np.zeros(len(self.heights))
        # Beside its last edge a metric's columns are empty.
        for place in np.ndindex(*[width.shape[1] for width in widths]):
            sides = [width[:, p] for width, p in zip(widths, place, strict=True)]
            total += prod(sides, start=self.heights[:, *place])
        return total

    def added(self, rises: Floats, soft: float = 0.0) -> Floats:
        """Give the volume that each of some recipes would add by itself.

        Parameters
        ----------
        rises : ndarray of shape (draws, m, k)
        soft : float
            Roundness of the corner between adding nothing and something: with it, what lies
            behind the front adds the less the farther it is behind, but never quite nothing.

        Returns
        -------
        ndarray of shape (draws, m)
        """
        reach = []
        for axis, side in enumerate(self.edges):
            over = [_positive(rises[..., axis] - edge[:, None], soft) for edge in side.T]
            over.append(np.zeros_like(over[0]))
            reach.append([a - b for a, b in pairwise(over)])
        total = np.zeros(rises.shape[:2])
        for place in np.ndindex(*self.heights.shape[1:]):
            above = _positive(rises[..., -1] - self.heights[:, *place, None], soft)
            for axis, column in enumerate(place):
                above *= reach[axis][column]
            total += above
        return total


def _positive(values: Floats, soft: float) -> Floats:
    """Give ``max(values, 0)``, its corner rounded to a hyperbola; the array is changed."""
    square = values * values
    square += 4 * soft**2
    values += np.sqrt(square, out=square)
    values *= 0.5
    return values


def hypervolume(rises: Floats) -> Floats:
    """Give the volume between the corner at 0 and the front.

    Parameters
    ----------
    rises : ndarray of shape (draws, n, k)

    Returns
    -------
    ndarray of shape (draws,)
        1 where a recipe is good in every metric; more where it is better than good.
    """
    return Columns.above(rises).volume()
