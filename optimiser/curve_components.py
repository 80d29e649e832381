"""Functional principal components of curves on one grid, each cone counted once.

Ramsay & Silverman 2005, Functional data analysis (2nd ed.), chapter 8: on a grid of even steps
the eigenfunctions of the covariance are the singular vectors of the centred curves.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["Components", "filled", "left_out", "principal"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

_ROUNDS = 12
_STILL = 1e-3  # dB, rms: filling ends where it moves less


@dataclass(frozen=True)
class Components:
    """A mean curve and the ways in which curves depart from it.

    Parameters
    ----------
    mean : ndarray of shape (points,)
    shapes : ndarray of shape (count, points)
        Orthogonal, each of mean square 1, so that a score is in dB rms over the grid.
    variances : ndarray of shape (count,)
        Of the scores over cones.
    """

    mean: Floats
    shapes: Floats
    variances: Floats

    def scores(self, values: Floats) -> Floats:
        """Project whole curves, (n, points) to (n, count)."""
        return np.asarray((values - self.mean) @ self.shapes.T / max(len(self.mean), 1))

    def curves(self, scores: Floats) -> Floats:
        """Put curves together from scores, (n, count) to (n, points)."""
        return np.asarray(self.mean + scores @ self.shapes)


def principal(values: Floats, weights: Floats, count: int) -> Components:
    """Find the components of whole curves.

    Parameters
    ----------
    values : ndarray of shape (n, points)
    weights : ndarray of shape (n,)
        How much each curve counts.
    count : int
        Components wanted; fewer come where the curves span fewer.

    Returns
    -------
    Components
        Those of the largest variance first.
    """
    share = weights / weights.sum()
    mean = share @ values
    apart = (values - mean) * np.sqrt(share)[:, None]
    # n curves are far fewer than points, so the small of the two products is taken.
    heights, vectors = np.linalg.eigh(apart @ apart.T / values.shape[1])
    order = np.argsort(heights)[::-1][:count]
    order = order[heights[order] > 1e-12 * max(float(heights[-1]), 1e-300)]
    shapes = (vectors[:, order] / np.sqrt(heights[order])).T @ apart
    return Components(mean, shapes, heights[order])


def filled(values: Floats, weights: Floats, count: int, rounds: int = _ROUNDS) -> Floats:
    """Fill the gaps of curves by what their components say of them.

    Notes
    -----
    Each round fits the components to the filled curves and fills anew; that is the maximum
    likelihood of components with missing values in the limit of no noise (Dempster, Laird &
    Rubin 1977). Where no curve has data, the nearest point that has some stands in.
    """
    known = np.isfinite(values)
    if known.all():
        return values
    seen = known.any(axis=0)
    total = (weights[:, None] * known).sum(axis=0)
    mean = np.where(known, values, 0.0).T @ weights / np.where(seen, total, 1.0)
    places = np.arange(len(mean))
    mean = np.interp(places, places[seen], mean[seen])
    whole = np.where(known, values, mean)
    for _ in range(rounds):
        found = principal(whole, weights, count)
        anew = np.where(known, values, found.curves(found.scores(whole)))
        moved = float(np.sqrt(np.mean((anew - whole) ** 2)))
        whole = anew
        if moved < _STILL:
            break
    return whole


def left_out(values: Floats, weights: Floats, cones: Ints, count: int) -> Floats:
    """Give what components learnt from all other cones cannot say of each cone's curves.

    Parameters
    ----------
    values : ndarray of shape (n, points)
        Whole curves.
    weights, cones : ndarray of shape (n,)
    count : int
        Components.

    Returns
    -------
    ndarray of shape (n, points)
        Curve less its projection.
    """
    rest = np.empty_like(values)
    for cone in np.unique(cones):
        own = cones == cone
        found = principal(values[~own], weights[~own], count)
        rest[own] = values[own] - found.curves(found.scores(values[own]))
    return rest
