"""Whether a recipe prints at all, learnt from failed and measured cones.

A latent Gaussian process seen through the logistic function, by Laplace's approximation
(Rasmussen & Williams 2006, algorithms 3.1 and 3.2). Its mean is the rate at which cones have
printed, so that one unlucky cone does not condemn a region. How far and how strongly failures
reach is averaged over suppositions, weighted by their evidence: that all knobs count alike, or
that one knob alone is to blame, for prints that fail tend to fail for one reason.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy import special
from sklearn.base import BaseEstimator

from optimiser.encoding import Encoding, Points
from optimiser.kernels import separations, shape
from optimiser.process import mixture_quantile
from optimiser.records.estimates import Estimate

__all__ = ["Printability"]

Floats = npt.NDArray[np.float64]

_PRIOR_PRINTED, _PRIOR_FAILED = 4.0, 1.0  # what is believed before any cone: four in five print
_SIGNALS = (1.0, 4.0, 12.0)
_REACHES = (0.4, 0.8, 1.6)
_BLAMED_SIGNALS = (4.0, 12.0, 36.0)
_BLAMED_REACHES = (0.15, 0.4)
_OTHERS_REACH = 4.0  # how far a failure reaches along the knobs that are not to blame
_ALIKE, _UNLIKE = 1.3, -3.0  # log lengths of the origin: a correlation of 0.93, and of 0
_NEGLIGIBLE = 0.01  # share of the evidence that is left out, for speed
_NUMBERS_AT_ONCE = 12_000_000  # bounds the memory to about 100 MB a matrix
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(20)


@dataclass(frozen=True)
class _Suppositions:
    """What the latent log odds may be like: k variances and length scales, and belief in each."""

    signals: Floats  # (k,)
    log_lengths: Floats  # (k, inputs)
    belief: Floats  # (k,)

    def take(self, places: npt.NDArray[np.intp] | slice) -> _Suppositions:
        return _Suppositions(self.signals[places], self.log_lengths[places], self.belief[places])

    def __len__(self) -> int:
        return len(self.signals)

    def with_origin(self) -> _Suppositions:
        """Suppose each with an earlier experiment that is alike, and with one that is not."""
        origin = np.repeat([_ALIKE, _UNLIKE], len(self))[:, None]
        return _Suppositions(
            np.tile(self.signals, 2),
            np.hstack([np.tile(self.log_lengths, (2, 1)), origin]),
            np.tile(self.belief, 2),
        )


class Printability(BaseEstimator):  # type: ignore[misc]  # scikit-learn is untyped
    """Probability that a recipe prints.

    Parameters
    ----------
    encoding : Encoding
    signals : sequence of float
        Variances of the latent log odds to average over, where all inputs count alike.
    reaches : sequence of float
        Their length scales, in units of the surrogate's prior median.
    blamed_reaches : sequence of float
        Length scales of an input that alone is to blame; none leaves that supposition out.
    offset : float, optional
        Mean of the latent log odds; by default from the share of cones that printed.

    Attributes
    ----------
    failures_ : int
        Failed cones behind it; with none, every recipe counts as printable.

    Notes
    -----
    An earlier experiment's cones are learnt from under two suppositions, weighted by evidence as
    all others: that its prints fail where ours do, and that they have nothing to do with ours.
    """

    def __init__(
        self,
        encoding: Encoding,
        *,
        signals: Sequence[float] = _SIGNALS,
        reaches: Sequence[float] = _REACHES,
        blamed_reaches: Sequence[float] = _BLAMED_REACHES,
        offset: float | None = None,
    ) -> None:
        self.encoding = encoding
        self.signals = signals
        self.reaches = reaches
        self.blamed_reaches = blamed_reaches
        self.offset = offset

    def fit(
        self, printed: Points, failed: Points, earlier: tuple[Points, Points] | None = None
    ) -> Printability:
        """Learn from recipes that printed and recipes that failed, the earlier alike."""
        self.failures_ = len(failed) + (len(earlier[1]) if earlier else 0)
        if not self.failures_:
            return self
        self._informed = earlier is not None
        self.points_ = self._placed(printed + failed)
        labels = _labels(printed, failed)
        self.mean_ = self._mean(labels)
        mean = np.full(len(labels), self.mean_)
        if earlier is not None:
            self.points_ = self.points_ + (earlier[0] + earlier[1]).of_experiment(1)
            theirs = _labels(*earlier)
            labels = np.concatenate([labels, theirs])
            mean = np.concatenate([mean, np.full(len(theirs), self._mean(theirs))])
        every = self._suppositions()
        step = max(1, _NUMBERS_AT_ONCE // len(labels) ** 2)
        evidence = np.concatenate(
            [
                self._learn(every.take(slice(start, start + step)), labels, mean).evidence
                for start in range(0, len(every), step)
            ]
        )
        shares = special.softmax(evidence + np.log(every.belief))
        kept = _most(shares)
        self._kept = every.take(kept)
        self._shares = shares[kept] / shares[kept].sum()
        self._latents = self._learn(self._kept, labels, mean)
        return self

    def _suppositions(self) -> _Suppositions:
        """Give half the belief to 'all inputs count alike', half to 'one alone is to blame'."""
        count = len(self.encoding.inputs)
        alike = [
            (signal, np.full(count, reach))
            for signal, reach in product(self.signals, self.reaches)
        ]
        blamed = [
            (signal, np.where(np.arange(count) == place, reach, _OTHERS_REACH))
            for place in range(count)
            for signal, reach in product(_BLAMED_SIGNALS, self.blamed_reaches)
        ]
        median = -0.5 + 0.5 * np.log(max(count, 1))
        belief = np.repeat([1 / len(alike), 1 / max(len(blamed), 1)], [len(alike), len(blamed)])
        found = _Suppositions(
            np.array([signal for signal, _ in alike + blamed]),
            median + np.log(np.array([reach for _, reach in alike + blamed])),
            belief,
        )
        return found.with_origin() if self._informed else found

    def _mean(self, labels: Floats) -> float:
        """Give the log odds of the rate at which cones printed."""
        if self.offset is not None:
            return self.offset
        total = len(labels) + _PRIOR_PRINTED + _PRIOR_FAILED
        return float(special.logit((labels.sum() + _PRIOR_PRINTED) / total))

    def _placed(self, points: Points) -> Points:
        return points.of_experiment(0) if self._informed else points

    def _learn(self, which: _Suppositions, labels: Floats, mean: Floats) -> _Latents:
        return _laplace(self._covariance(which, self.points_, self.points_), labels, mean)

    def _covariance(self, which: _Suppositions, a: Points, b: Points) -> Floats:
        """Covariance of the log odds under each supposition, (k, n, m)."""
        correlation = shape(*separations(self.encoding, a, b), which.log_lengths)
        return np.asarray(which.signals[:, None, None] * correlation)

    def __call__(self, points: Points) -> Floats:
        """Probability that each recipe prints, shape (m,)."""
        if not self.failures_:
            return np.ones(len(points))
        total = np.zeros(len(points))
        crosses = self._covariance(self._kept, self._placed(points), self.points_)
        signals = self._kept.signals
        for place, cross in enumerate(crosses):
            rate = self._latents.rate(place, cross, self.mean_, float(signals[place]))
            total += self._shares[place] * rate
        return total

    def estimate(self, points: Points) -> list[Estimate]:
        """Give each recipe's probability to print, and how sure that is.

        Returns
        -------
        list of Estimate
            The mean is that of calling the model: the chance of the next print. The 90 %
            interval is that of the rate at which prints of the recipe come off in the long run;
            behind it stand all cones that printed or failed. NaN while none has failed.
        """
        if not self.failures_:
            return [Estimate(math.nan, math.nan, math.nan, 0)] * len(points)
        crosses = self._covariance(self._kept, self._placed(points), self.points_)
        parts = [
            self._latents.log_odds(place, cross, self.mean_, float(self._kept.signals[place]))
            for place, cross in enumerate(crosses)
        ]
        mean, sd = (np.array([part[each] for part in parts]) for each in (0, 1))
        low, high = (
            special.expit(mixture_quantile(mean, sd, level, self._shares))
            for level in (0.05, 0.95)
        )
        ends = np.column_stack([self(points), low, high]).tolist()
        return [Estimate(mean, low, high, len(self.points_)) for mean, low, high in ends]


def _labels(printed: Points, failed: Points) -> Floats:
    return np.concatenate([np.ones(len(printed)), np.zeros(len(failed))])


def _most(shares: Floats) -> npt.NDArray[np.intp]:
    """Give the places of the largest shares that leave out a negligible rest."""
    order = np.argsort(-shares, kind="stable")
    enough = int(np.searchsorted(np.cumsum(shares[order]), 1 - _NEGLIGIBLE)) + 1
    return np.sort(order[:enough])


@dataclass(frozen=True)
class _Latents:
    """Laplace's approximation of the log odds under each of k covariances."""

    gradient: Floats  # (k, n), of the log likelihood
    root: Floats  # (k, n), square root of the likelihood's curvature
    inverse: Floats  # (k, n, n), inverse of the Cholesky factor of B
    evidence: Floats  # (k,), logarithm

    def rate(self, place: int, cross: Floats, mean: float, signal: float) -> Floats:
        """Probability at m points with the given covariance (m, n) to the observed ones."""
        latent, sd = self.log_odds(place, cross, mean, signal)
        # The logistic function averaged over the latent normal, by Gauss-Hermite quadrature.
        rates = special.expit(latent[:, None] + sd[:, None] * _NODES)
        return np.asarray(rates @ _WEIGHTS / np.sqrt(2 * np.pi))

    def log_odds(
        self, place: int, cross: Floats, mean: float, signal: float
    ) -> tuple[Floats, Floats]:
        """Mean and standard deviation of the log odds there, (m,) each."""
        latent = mean + cross @ self.gradient[place]
        solved = (cross * self.root[place]) @ self.inverse[place].T
        return latent, np.sqrt(np.maximum(signal - np.sum(solved**2, axis=1), 1e-12))


def _laplace(covariance: Floats, labels: Floats, mean: Floats) -> _Latents:
    """Newton's iteration for every covariance at once (algorithm 3.1)."""
    latent = weights = np.zeros(covariance.shape[:2])
    for _ in range(100):
        rate = special.expit(latent + mean)
        root = np.sqrt(rate * (1 - rate))
        inverse = _inverse(_factor(root, covariance))
        pull = root**2 * latent + labels - rate
        inner = np.einsum("kij,kj->ki", inverse, root * np.einsum("kij,kj->ki", covariance, pull))
        weights = pull - root * np.einsum("kji,kj->ki", inverse, inner)
        previous, latent = latent, np.einsum("kij,kj->ki", covariance, weights)
        if np.max(np.abs(latent - previous)) < 1e-9:
            break
    rate = special.expit(latent + mean)
    root = np.sqrt(rate * (1 - rate))
    factor = _factor(root, covariance)
    signs = np.where(labels > 0, -1.0, 1.0)
    likelihood = -np.logaddexp(0.0, signs * (latent + mean)).sum(axis=1)
    determinant = np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    evidence = -0.5 * np.sum(weights * latent, axis=1) + likelihood - determinant
    return _Latents(labels - rate, root, _inverse(factor), evidence)


def _factor(root: Floats, covariance: Floats) -> Floats:
    """Cholesky factor of ``B = I + sqrt(W) K sqrt(W)``."""
    scaled = np.eye(root.shape[1]) + root[:, :, None] * root[:, None, :] * covariance
    return np.asarray(np.linalg.cholesky(scaled), dtype=float)


def _inverse(matrices: Floats) -> Floats:
    return np.asarray(np.linalg.inv(matrices), dtype=float)
