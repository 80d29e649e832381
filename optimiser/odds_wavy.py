"""Log odds of printing as a field that forgets with distance.

A latent Gaussian process seen through the logistic function, by Laplace's approximation
(Rasmussen & Williams 2006, algorithms 3.1 and 3.2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy import special

from optimiser.encoding import Encoding, Points
from optimiser.kernels import separations, shape
from optimiser.odds import Suppositions, log_likelihood

__all__ = ["LearntField", "WavyOdds"]

Floats = npt.NDArray[np.float64]

_BLAMED_SIGNALS = (4.0, 12.0, 36.0)
_OTHERS_REACH = 4.0  # how far a failure reaches along the knobs that are not to blame
_ALIKE, _UNLIKE = 1.3, -3.0  # log lengths of the origin: a correlation of 0.93, and of 0


@dataclass(frozen=True)
class WavyOdds(Suppositions):
    """Suppositions of how far and how strongly failures reach.

    Parameters
    ----------
    encoding, belief
        See `Suppositions`.
    signals : ndarray of shape (k,)
        Variances of the log odds.
    log_lengths : ndarray of shape (k, inputs)
        Natural logarithms, the origin last where an earlier experiment is learnt from.
    """

    signals: Floats
    log_lengths: Floats

    @classmethod
    def supposed(
        cls,
        encoding: Encoding,
        signals: Sequence[float],
        reaches: Sequence[float],
        blamed_reaches: Sequence[float],
    ) -> WavyOdds:
        """Suppose that all inputs count alike, and that one alone is to blame, as much of each."""
        count = len(encoding.inputs)
        alike = [(signal, np.full(count, reach)) for signal, reach in product(signals, reaches)]
        blamed = [
            (signal, np.where(np.arange(count) == place, reach, _OTHERS_REACH))
            for place in range(count)
            for signal, reach in product(_BLAMED_SIGNALS, blamed_reaches)
        ]
        median = -0.5 + 0.5 * np.log(max(count, 1))
        sizes = [len(alike), len(blamed)]
        return cls(
            encoding,
            np.repeat([1 / max(size, 1) for size in sizes], sizes),
            np.array([signal for signal, _ in alike + blamed]),
            median + np.log(np.array([reach for _, reach in alike + blamed])),
        )

    def with_origin(self) -> WavyOdds:
        """Suppose each twice, see `Suppositions`."""
        origin = np.repeat([_ALIKE, _UNLIKE], len(self))[:, None]
        return WavyOdds(
            self.encoding,
            np.tile(self.belief, 2),
            np.tile(self.signals, 2),
            np.hstack([np.tile(self.log_lengths, (2, 1)), origin]),
        )

    def learn(self, points: Points, labels: Floats, mean: Floats) -> LearntField:
        """Find them by Newton's iteration for every covariance at once (algorithm 3.1)."""
        covariance = self.covariance(points, points)
        latent = weights = np.zeros(covariance.shape[:2])
        for _ in range(100):
            rate = special.expit(latent + mean)
            root = np.sqrt(rate * (1 - rate))
            inverse = _inverse(_factor(root, covariance))
            pull = root**2 * latent + labels - rate
            inner = np.einsum(
                "kij,kj->ki", inverse, root * np.einsum("kij,kj->ki", covariance, pull)
            )
            weights = pull - root * np.einsum("kji,kj->ki", inverse, inner)
            previous, latent = latent, np.einsum("kij,kj->ki", covariance, weights)
            if np.max(np.abs(latent - previous)) < 1e-9:
                break
        rate = special.expit(latent + mean)
        root = np.sqrt(rate * (1 - rate))
        factor = _factor(root, covariance)
        likelihood = log_likelihood(latent + mean, labels)
        determinant = np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
        evidence = -0.5 * np.sum(weights * latent, axis=1) + likelihood - determinant
        return LearntField(self, points, labels - rate, root, _inverse(factor), evidence)

    def covariance(self, a: Points, b: Points) -> Floats:
        """Covariance of the log odds under each supposition, (k, n, m)."""
        correlation = shape(*separations(self.encoding, a, b), self.log_lengths)
        return np.asarray(self.signals[:, None, None] * correlation)


@dataclass(frozen=True)
class LearntField:
    """Laplace's approximation of the log odds under each of k suppositions."""

    supposed: WavyOdds
    points: Points
    gradient: Floats  # (k, n), of the log likelihood
    root: Floats  # (k, n), square root of the likelihood's curvature
    inverse: Floats  # (k, n, n), inverse of the Cholesky factor of B
    evidence: Floats  # (k,), logarithm

    def log_odds(self, points: Points, mean: float) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the log odds of m recipes, (k, m) each."""
        cross = self.supposed.covariance(points, self.points)
        latent = mean + (cross @ self.gradient[:, :, None])[:, :, 0]
        solved = (cross * self.root[:, None, :]) @ np.swapaxes(self.inverse, 1, 2)
        left = self.supposed.signals[:, None] - np.sum(solved**2, axis=2)
        return latent, np.sqrt(np.maximum(left, 1e-12))


def _factor(root: Floats, covariance: Floats) -> Floats:
    """Cholesky factor of ``B = I + sqrt(W) K sqrt(W)``."""
    scaled = np.eye(root.shape[1]) + root[:, :, None] * root[:, None, :] * covariance
    return np.asarray(np.linalg.cholesky(scaled), dtype=float)


def _inverse(matrices: Floats) -> Floats:
    return np.asarray(np.linalg.inv(matrices), dtype=float)
