"""Whether a recipe prints at all, learnt from failed and measured cones.

A latent Gaussian process seen through the logistic function, by Laplace's approximation
(Rasmussen & Williams 2006, algorithms 3.1 and 3.2). Its mean is the rate at which cones have
printed, so that one unlucky cone does not condemn a region; how far and how strongly failures
reach is averaged over a few settings, weighted by their evidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy import special
from scipy.linalg import solve_triangular
from sklearn.base import BaseEstimator

from optimiser.encoding import Encoding, Points
from optimiser.kernels import separations, shape

__all__ = ["Printability"]

Floats = npt.NDArray[np.float64]

_PRIOR_PRINTED, _PRIOR_FAILED = 4.0, 1.0  # what is believed before any cone: four in five print
_SIGNALS = (1.0, 4.0, 12.0)
_REACHES = (0.4, 0.8, 1.6)
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(20)


class Printability(BaseEstimator):  # type: ignore[misc]  # scikit-learn is untyped
    """Probability that a recipe prints.

    Parameters
    ----------
    encoding : Encoding
    signals : sequence of float
        Variances of the latent log odds to average over.
    reaches : sequence of float
        Length scales to average over, in units of the surrogate's prior median.
    offset : float, optional
        Mean of the latent log odds; by default from the share of cones that printed.

    Attributes
    ----------
    failures_ : int
        Failed cones behind it; with none, every recipe counts as printable.
    """

    def __init__(
        self,
        encoding: Encoding,
        *,
        signals: Sequence[float] = _SIGNALS,
        reaches: Sequence[float] = _REACHES,
        offset: float | None = None,
    ) -> None:
        self.encoding = encoding
        self.signals = signals
        self.reaches = reaches
        self.offset = offset

    def fit(self, printed: Points, failed: Points) -> Printability:
        """Learn from recipes that printed and recipes that failed."""
        self.failures_ = len(failed)
        if not self.failures_:
            return self
        self.points_ = printed + failed
        labels = np.concatenate([np.ones(len(printed)), np.zeros(len(failed))])
        share = (len(printed) + _PRIOR_PRINTED) / (len(labels) + _PRIOR_PRINTED + _PRIOR_FAILED)
        mean = float(special.logit(share)) if self.offset is None else self.offset
        self._pairs = np.array(list(product(self.signals, self.reaches)))
        covariance = self._covariance(self.points_, self.points_)
        self._latents = [_Latent(matrix, labels, mean) for matrix in covariance]
        evidence = np.array([latent.evidence for latent in self._latents])
        self._shares = special.softmax(evidence)
        return self

    def _covariance(self, a: Points, b: Points) -> Floats:
        """Covariance of the log odds for each pair of signal and reach."""
        count = len(self.encoding.inputs)
        median = -0.5 + 0.5 * np.log(max(count, 1))
        lengths = np.repeat(median + np.log(self._pairs[:, 1:]), count, axis=1)
        correlation = shape(*separations(self.encoding, a, b), lengths)
        return np.asarray(self._pairs[:, :1, None] * correlation)

    def __call__(self, points: Points) -> Floats:
        """Probability that each recipe prints, shape (m,)."""
        if not self.failures_:
            return np.ones(len(points))
        total = np.zeros(len(points))
        crosses = self._covariance(points, self.points_)
        for latent, cross, pair, share in zip(
            self._latents, crosses, self._pairs, self._shares, strict=True
        ):
            total += share * latent.rate(cross, float(pair[0]))
        return total


class _Latent:
    """Laplace's approximation of the log odds under one covariance."""

    def __init__(self, covariance: Floats, labels: Floats, mean: float) -> None:
        self.mean = mean
        latent = weights = np.zeros(len(labels))
        for _ in range(100):  # Newton's iteration, algorithm 3.1
            rate = special.expit(latent + mean)
            root = np.sqrt(rate * (1 - rate))
            factor = _factor(root, covariance)
            pull = root**2 * latent + labels - rate
            inner = solve_triangular(factor, root * (covariance @ pull), lower=True)
            weights = pull - root * solve_triangular(factor.T, inner, lower=False)
            previous, latent = latent, covariance @ weights
            if np.max(np.abs(latent - previous)) < 1e-9:
                break
        rate = special.expit(latent + mean)
        self._gradient = labels - rate
        self._root = np.sqrt(rate * (1 - rate))
        self._factor = _factor(self._root, covariance)
        likelihood = -np.logaddexp(0.0, np.where(labels > 0, -1.0, 1.0) * (latent + mean)).sum()
        determinant = np.log(np.diag(self._factor)).sum()
        self.evidence = float(-0.5 * weights @ latent + likelihood - determinant)

    def rate(self, cross: Floats, signal: float) -> Floats:
        """Probability at points with the given covariance to the observed ones."""
        mean = self.mean + cross @ self._gradient
        solved = solve_triangular(self._factor, self._root[:, None] * cross.T, lower=True)
        sd = np.sqrt(np.maximum(signal - np.sum(solved**2, axis=0), 1e-12))
        # The logistic function averaged over the latent normal, by Gauss-Hermite quadrature.
        rates = special.expit(mean[:, None] + sd[:, None] * _NODES)
        return np.asarray(rates @ _WEIGHTS / np.sqrt(2 * np.pi))


def _factor(root: Floats, covariance: Floats) -> Floats:
    scaled = np.eye(len(root)) + np.outer(root, root) * covariance
    return np.asarray(np.linalg.cholesky(scaled), dtype=float)
