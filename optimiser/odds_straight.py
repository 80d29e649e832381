"""Log odds of printing that are straight lines in a few knobs: logistic regression.

Prints mostly fail past a limit: too little light for the layer, too thin a wall, too cold a
nozzle. A straight line carries what a few failures tell on to where nothing was printed yet, which
a field that forgets with distance does not. Weights have normal priors and are approximated by
Laplace's method around their most probable values (Bishop 2006, Pattern Recognition and Machine
Learning, sections 4.4 and 4.5).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

import numpy as np
import numpy.typing as npt
from scipy import special

from optimiser.encoding import Encoding, Points
from optimiser.odds import Suppositions, log_likelihood

__all__ = ["LearntLines", "StraightOdds"]

Floats = npt.NDArray[np.float64]

_OTHERS = 0.005  # share of the variance that knobs which are not to blame are left with
_LEVEL = 0.125  # variance of a choice's level, that of a whole knob's ends being 0.25
_CONSTANT = 0.03  # variance of the log odds at mid range, likewise
_ALIKE = 0.93  # correlation with an earlier experiment that is alike, as for the field
_MANY = 24  # knobs; of more there are too many pairs to weigh
_STEPS, _HALVINGS = 100, 20
_ENOUGH = 1e-10  # rise of the log posterior at which a climb ends


@dataclass(frozen=True)
class StraightOdds(Suppositions):
    """Suppositions of which knobs are to blame, and how steeply.

    Parameters
    ----------
    encoding, belief
        See `Suppositions`.
    spread : ndarray of shape (k, inputs)
        Prior variance of each knob's slope over its range.
    constant : ndarray of shape (k,)
        Prior variance of the level.
    alike : ndarray of shape (k,), optional
        Correlation of an earlier experiment's weights with ours, where one is learnt from.
    """

    spread: Floats
    constant: Floats
    alike: Floats | None = None

    @classmethod
    def supposed(cls, encoding: Encoding, steepness: Sequence[float]) -> StraightOdds:
        """Suppose that all knobs, one or two alone are to blame, as much of each.

        Two are not supposed where there are very many knobs.

        Parameters
        ----------
        encoding : Encoding
        steepness : sequence of float
            Variances of the difference in log odds between the ends of a knob.
        """
        count = len(encoding.inputs)
        spread, constant, belief = [], [], []
        for blamed in (count, 1, 2) if count <= _MANY else (count, 1):
            every = list(product(combinations(range(count), blamed), steepness))
            for knobs, steep in every:
                share = np.full(count, _OTHERS * steep)
                share[list(knobs)] = steep / max(blamed, 1)
                spread.append(share)
                constant.append(_CONSTANT * steep)
                belief.append(1 / len(every))
        shape = (len(belief), count)
        return cls(encoding, np.array(belief), np.reshape(spread, shape), np.array(constant))

    def with_origin(self) -> StraightOdds:
        """Suppose each twice, see `Suppositions`."""
        return replace(
            self,
            spread=np.tile(self.spread, (2, 1)),
            constant=np.tile(self.constant, 2),
            belief=np.tile(self.belief, 2),
            alike=np.repeat([_ALIKE, 0.0], len(self)),
        )

    def learn(self, points: Points, labels: Floats, mean: Floats) -> LearntLines:
        """Climb to the most probable weights by Newton's steps; see `Suppositions`."""
        climb = _Climb(self.design(points), labels, mean)
        weights = climb.top()
        factor = np.linalg.cholesky(climb.bend(weights))
        spanned = np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
        return LearntLines(self, weights, np.linalg.inv(factor), climb.height(weights) - spanned)

    def design(self, points: Points) -> Floats:
        """Give columns whose weights are standard normal beforehand, (k, n, columns)."""
        columns, owner = _columns(self.encoding, points)
        spread = np.column_stack([self.spread, self.constant])[:, owner]
        scaled = np.asarray(columns * np.sqrt(spread)[:, None, :])
        if self.alike is None:
            return scaled
        # An earlier experiment's weights: ours as far as they are alike, and a rest of its own.
        theirs = (points.levels[:, -1] == 1)[:, None]
        alike = self.alike[:, None, None]
        shared = np.where(theirs, alike, 1.0) * scaled
        own = np.where(theirs, np.sqrt(1.0 - alike**2), 0.0) * scaled
        return np.concatenate([shared, own], axis=2)


@dataclass(frozen=True)
class LearntLines:
    """Laplace's approximation of the weights under each of k suppositions."""

    supposed: StraightOdds
    weights: Floats  # (k, columns)
    spread: Floats  # (k, columns, columns): its crossproduct is the weights' covariance
    evidence: Floats  # (k,), logarithm

    def log_odds(self, points: Points, mean: float) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the log odds of m recipes, (k, m) each."""
        design = self.supposed.design(points)
        spanned = design @ np.swapaxes(self.spread, 1, 2)
        return mean + _times(design, self.weights), np.sqrt(np.sum(spanned**2, axis=2))


@dataclass(frozen=True)
class _Climb:
    """Newton's ascent to the most probable weights, every supposition at once."""

    design: Floats  # (k, n, columns)
    labels: Floats  # (n,)
    mean: Floats  # (n,)

    def height(self, weights: Floats) -> Floats:
        """Log likelihood and log prior, (k,)."""
        likelihood = log_likelihood(self.mean + _times(self.design, weights), self.labels)
        return np.asarray(likelihood - 0.5 * np.sum(weights**2, axis=1))

    def bend(self, weights: Floats) -> Floats:
        """Give what the height falls by around its top, twice differentiated."""
        rate = special.expit(self.mean + _times(self.design, weights))
        turned = np.swapaxes(self.design * (rate * (1.0 - rate))[:, :, None], 1, 2)
        return np.asarray(turned @ self.design + np.eye(weights.shape[1]))

    def top(self) -> Floats:
        """Climb from 0, by half a step and less where a whole one does not rise."""
        weights = np.zeros((len(self.design), self.design.shape[2]))
        height = self.height(weights)
        for _ in range(_STEPS):
            rate = special.expit(self.mean + _times(self.design, weights))
            slope = _times(np.swapaxes(self.design, 1, 2), self.labels - rate) - weights
            step = np.linalg.solve(self.bend(weights), slope[:, :, None])[:, :, 0]
            found = self.height(weights + step)
            for _ in range(_HALVINGS):
                low = found < height
                if not low.any():
                    break
                step[low] /= 2.0
                found = self.height(weights + step)
            rise = np.max(found - height, initial=0.0)
            weights, height = weights + step, found
            if rise < _ENOUGH:
                break
        return weights


def _times(matrices: Floats, vectors: Floats) -> Floats:
    """Multiply each matrix with its vector."""
    return np.asarray((matrices @ vectors[:, :, None])[:, :, 0])


def _columns(encoding: Encoding, points: Points) -> tuple[Floats, npt.NDArray[np.intp]]:
    """Give what a straight line weighs, (n, columns), and the input that each belongs to.

    Numbers run from -0.5 to 0.5, 0 where not there; a choice has a column a level; the last column
    is the constant's.
    """
    first = np.searchsorted(encoding.owner, np.unique(encoding.owner))
    conditional = np.bincount(encoding.owner)[encoding.owner[first]] > 1
    numbers = points.numbers[:, first] - np.where(conditional, 0.0, 0.5)
    parts, owner = [numbers], [encoding.owner[first]]
    for place, count in enumerate(encoding.level_counts):
        parts.append(np.sqrt(_LEVEL) * (points.levels[:, [place]] == np.arange(count)))
        owner.append(np.full(count, len(first) + place))
    parts.append(np.ones((len(points), 1)))
    owner.append(np.array([len(encoding.inputs)]))
    return np.hstack(parts), np.concatenate(owner)
