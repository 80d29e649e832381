"""Whether a recipe prints at all, learnt from failed and measured cones.

The log odds are averaged over suppositions, weighted by their evidence: that they are straight
lines in all knobs, in one or in two that are to blame (`odds_straight`), or a field that forgets
with distance, along all knobs alike or along one (`odds_wavy`). For prints tend to fail past a
limit, and for few reasons. Their mean is the rate at which cones have printed, so that one unlucky
cone does not condemn a region.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy import special
from sklearn.base import BaseEstimator

from optimiser.encoding import Encoding, Points
from optimiser.odds import LearntOdds, Suppositions
from optimiser.odds_straight import StraightOdds
from optimiser.odds_wavy import WavyOdds
from optimiser.process import mixture_quantile
from optimiser.records.estimates import Estimate

__all__ = ["Printability"]

Floats = npt.NDArray[np.float64]

_PRIOR_PRINTED, _PRIOR_FAILED = 4.0, 1.0  # what is believed before any cone: four in five print
_SIGNALS = (1.0, 4.0, 12.0)
_REACHES = (0.4, 0.8, 1.6)
_BLAMED_REACHES = (0.15, 0.4)
_STEEPNESS = (16.0, 64.0, 256.0)
_NEGLIGIBLE = 0.01  # share of the evidence that is left out, for speed
_LESSON = 100  # prints that are enough to weigh the suppositions by
_NUMBERS_AT_ONCE = 12_000_000  # bounds the memory to about 100 MB a matrix
_NODES, _WEIGHTS = np.polynomial.hermite_e.hermegauss(20)


class Printability(BaseEstimator):  # type: ignore[misc]  # scikit-learn is untyped
    """Probability that a recipe prints.

    Parameters
    ----------
    encoding : Encoding
    signals : sequence of float
        Variances of the field of log odds, where all inputs count alike; none leaves that out.
    reaches : sequence of float
        Its length scales, in units of the surrogate's prior median.
    blamed_reaches : sequence of float
        Length scales of an input that alone is to blame; none leaves that supposition out.
    steepness : sequence of float
        Variances of the difference in log odds between a knob's ends; none leaves straight lines
        out.
    offset : float, optional
        Mean of the log odds; by default from the share of cones that printed.

    Attributes
    ----------
    failures_ : int
        Failed cones behind it; with none, every recipe counts as printable.
    learnt_ : list
        What was learnt under the suppositions that count, and `shares_` the weight of each.

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
        steepness: Sequence[float] = _STEEPNESS,
        offset: float | None = None,
    ) -> None:
        self.encoding = encoding
        self.signals = signals
        self.reaches = reaches
        self.blamed_reaches = blamed_reaches
        self.steepness = steepness
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
        families = self._suppositions()
        rows = np.sort(np.random.default_rng(31).permutation(len(labels))[:_LESSON])
        some = self.points_.take(rows), labels[rows], mean[rows]
        evidence = [_evidence(family, *some) for family in families]
        belief = np.log(np.concatenate([family.belief for family in families]))
        shares = special.softmax(np.concatenate(evidence) + belief)
        kept = _most(shares)
        self.shares_ = shares[kept] / shares[kept].sum()
        self.learnt_: list[LearntOdds] = []
        start = 0
        for family in families:
            places = kept[(kept >= start) & (kept < start + len(family))] - start
            start += len(family)
            if len(places):
                self.learnt_.append(family.take(places).learn(self.points_, labels, mean))
        return self

    def _suppositions(self) -> list[Suppositions]:
        wavy = WavyOdds.supposed(self.encoding, self.signals, self.reaches, self.blamed_reaches)
        straight = StraightOdds.supposed(self.encoding, self.steepness)
        if self._informed:
            return [wavy.with_origin(), straight.with_origin()]
        return [wavy, straight]

    def _mean(self, labels: Floats) -> float:
        """Give the log odds of the rate at which cones printed."""
        if self.offset is not None:
            return self.offset
        total = len(labels) + _PRIOR_PRINTED + _PRIOR_FAILED
        return float(special.logit((labels.sum() + _PRIOR_PRINTED) / total))

    def _placed(self, points: Points) -> Points:
        return points.of_experiment(0) if self._informed else points

    def _log_odds(self, points: Points) -> tuple[Floats, Floats]:
        """Mean and standard deviation under each supposition that counts, (k, m) each."""
        placed = self._placed(points)
        mean, sd = np.empty((2, len(self.shares_), len(points)))
        step = max(64, _NUMBERS_AT_ONCE // (len(self.shares_) * len(self.points_)))
        for start in range(0, len(points), step):
            some = slice(start, start + step)
            parts = [learnt.log_odds(placed.take(some), self.mean_) for learnt in self.learnt_]
            mean[:, some], sd[:, some] = (
                np.concatenate(each) for each in zip(*parts, strict=True)
            )
        return mean, sd

    def __call__(self, points: Points) -> Floats:
        """Probability that each recipe prints, shape (m,)."""
        if not self.failures_:
            return np.ones(len(points))
        return self._averaged(*self._log_odds(points))

    def _averaged(self, mean: Floats, sd: Floats) -> Floats:
        """Average the logistic function over the log odds, by Gauss-Hermite quadrature."""
        total = np.zeros(mean.shape[1])
        for node, weight in zip(_NODES, _WEIGHTS / np.sqrt(2 * np.pi), strict=True):
            total += weight * (self.shares_ @ special.expit(mean + sd * node))
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
        mean, sd = self._log_odds(points)
        low, high = (
            special.expit(mixture_quantile(mean, sd, level, self.shares_))
            for level in (0.05, 0.95)
        )
        ends = np.column_stack([self._averaged(mean, sd), low, high]).tolist()
        return [Estimate(mean, low, high, len(self.points_)) for mean, low, high in ends]


def _evidence(family: Suppositions, points: Points, labels: Floats, mean: Floats) -> Floats:
    """Learn under every supposition, some at a time, and keep how probable it makes the prints."""
    step = max(1, _NUMBERS_AT_ONCE // max(len(labels), 2 * len(family.encoding.inputs)) ** 2)
    starts = range(0, len(family), step)
    parts = [
        family.take(slice(at, at + step)).learn(points, labels, mean).evidence for at in starts
    ]
    return np.concatenate([np.empty(0), *parts])


def _labels(printed: Points, failed: Points) -> Floats:
    return np.concatenate([np.ones(len(printed)), np.zeros(len(failed))])


def _most(shares: Floats) -> npt.NDArray[np.intp]:
    """Give the places of the largest shares that leave out a negligible rest."""
    order = np.argsort(-shares, kind="stable")
    enough = int(np.searchsorted(np.cumsum(shares[order]), 1 - _NEGLIGIBLE)) + 1
    return np.sort(order[:enough])
