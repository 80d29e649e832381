"""One metric's Gaussian process, averaged over hyperparameter draws."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import special
from sklearn.base import BaseEstimator

from optimiser.covariance import Covariance
from optimiser.encoding import Encoding, Points
from optimiser.kernels import separations, shape
from optimiser.posterior import explore
from optimiser.triangles import inverse_factors, portions

__all__ = [
    "EnsembleProcess",
    "LeftOut",
    "has_crossed_sessions",
    "has_repeated_cones",
    "mixture_quantile",
    "some_rows",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

_OUTLIER = 4.0  # left-out residual, in its own standard deviations, that is called wild
_DIGITS = 10  # of standardised outputs
_LESSON = 300  # observations that are enough to learn hyperparameters from
_FEW = 100  # observations; of more the posterior is so near its Laplace approximation ...
_PROPOSALS, _FEW_PROPOSALS = 256, 64  # ... that a quarter of the proposals tells the evidence
_INFLATION = 100.0  # factor on a wild value's noise variance


@dataclass(frozen=True)
class LeftOut:
    """Leave-one-cone-out predictions of each observation, standardised scale.

    Parameters
    ----------
    mean, variance : ndarray of shape (draws, n)
        Of the observation itself, noise included.
    """

    mean: Floats
    variance: Floats


class EnsembleProcess(BaseEstimator):  # type: ignore[misc]  # scikit-learn is untyped
    """Gaussian process regression with hyperparameters drawn from their posterior.

    Parameters
    ----------
    encoding : Encoding
        Turns recipes into coordinates.
    draws : int
        Number of hyperparameter sets that predictions are averaged over.
    seed : int

    Attributes
    ----------
    centre_, scale_ : float
        What outputs were standardised with.
    sets_ : ndarray of shape (draws, hyperparameters)
    wild_ : ndarray of bool, shape (n,)
        Observations whose noise was raised because no other cone supports them.

    Notes
    -----
    The algorithm is Rasmussen & Williams 2006, algorithm 2.1, once a draw. Random effects of
    sessions and cones enter as block terms where the table can tell them from noise: a session
    when some recipe was measured in two of them, a cone when one was measured twice.
    """

    def __init__(self, encoding: Encoding, *, draws: int = 16, seed: int = 0) -> None:
        self.encoding = encoding
        self.draws = draws
        self.seed = seed

    def fit(
        self, points: Points, outputs: Floats, cones: Ints, sessions: Ints, recipes: Ints
    ) -> EnsembleProcess:
        """Learn from observations.

        Parameters
        ----------
        points : Points
            n encoded recipes.
        outputs : ndarray of shape (n,)
        cones, sessions, recipes : ndarray of int, shape (n,)
            Which cone, session and recipe each observation belongs to.

        Returns
        -------
        EnsembleProcess
            itself
        """
        self.points_ = points
        self.cones_ = cones
        self.centre_ = float(np.mean(outputs))
        spread = float(np.std(outputs, ddof=1)) if len(outputs) > 1 else 0.0
        flat = spread <= 1e-12 * max(abs(self.centre_), 1e-300)
        self.scale_ = (max(abs(self.centre_), 1.0) * 0.01) if flat else spread
        # Rounded, or the last bit of another unit would send the random draws another way.
        self.outputs_ = np.round((outputs - self.centre_) / self.scale_, _DIGITS)
        self._apart = separations(self.encoding, points, points)
        blocks = []
        self.has_session_ = has_crossed_sessions(recipes, sessions)
        self.has_cone_ = has_repeated_cones(cones)
        for present, labels in ((self.has_session_, sessions), (self.has_cone_, cones)):
            if present:
                blocks.append((labels[:, None] == labels[None, :]).astype(float))
        self._lesson = some_rows(recipes, _LESSON, self.seed)
        covariance = Covariance(*self._apart, blocks, np.ones(len(outputs)))
        self._learn(covariance)
        self.wild_ = self._wild()
        if self.wild_.any():
            inflation = np.where(self.wild_, _INFLATION, 1.0)
            self._learn(replace(covariance, inflation=inflation))
        return self

    def _learn(self, covariance: Covariance) -> None:
        """Draw hyperparameters, from some of very many observations, and condition on all."""
        self.covariance_ = covariance.of(self._lesson)
        self.exploration_ = explore(self.covariance_, self.outputs_[self._lesson], self.seed)
        self._condition(covariance, self.exploration_.draw(self.draws, self.seed))

    def _condition(self, covariance: Covariance, sets: Floats) -> None:
        """Factorise the covariance once a hyperparameter set."""
        self.sets_ = sets
        self._inputs = covariance.inputs
        n = len(self.outputs_)
        self._whole = covariance
        self.half_ = np.empty((len(sets), n, n))  # K^-1 = half' half
        for part in portions(len(sets), n):
            total = self.covariance_at(*self._apart, part)
            self.half_[part] = inverse_factors(total + covariance.noise(sets[part]))
        self.alpha_ = np.einsum("sji,sj->si", self.half_, self.half_ @ self.outputs_)

    @property
    def signal_(self) -> Floats:
        """Signal variance a draw, standardised."""
        return np.asarray(np.exp(self.sets_[:, self._inputs]))

    @property
    def noise_variance_(self) -> Floats:
        """Variance of one measurement's noise a draw, standardised."""
        return np.asarray(np.exp(self.sets_[:, self._inputs + 1]))

    @property
    def novelty_(self) -> Floats:
        """Variance that a new measurement of a new cone in a new session adds, a draw."""
        return np.asarray(self._spreads.sum(axis=1))

    @property
    def _spreads(self) -> Floats:
        """Variances of noise and, where they are in the model, sessions and cones."""
        first = self._inputs + 1
        return np.exp(self.sets_[:, first : first + 1 + self.has_session_ + self.has_cone_])

    @property
    def repeatability_(self) -> float:
        """Standard deviation of one recipe printed and measured again, in output units.

        Session offsets are left out: two cones of one session share them.
        """
        spreads = self._spreads
        variance = np.delete(spreads, 1, axis=1) if self.has_session_ else spreads
        return float(np.sqrt(np.mean(variance.sum(axis=1))) * self.scale_)

    def placed(self, points: Points) -> Points:
        """Give recipes of this experiment as the covariance takes them."""
        return points

    def separations(self, a: Points, b: Points) -> tuple[Floats, Floats]:
        """Give squared distances an input, as `covariance_at` takes them."""
        return separations(self.encoding, self.placed(a), self.placed(b))

    def told_by(self, known: Points) -> Points:
        """Give the recipes whose true values tell all that the observations tell of others.

        Parameters
        ----------
        known : Points
            All that were observed, and perhaps more.
        """
        return known

    def noise(self, place: int) -> Floats:
        """Covariance of all that is not the recipe, of one draw, (n, n); standardised."""
        return np.asarray(self._whole.noise(self.sets_[[place]])[0])

    def covariance(self, a: Points, b: Points, sets: slice = slice(None)) -> Floats:
        """Prior covariance of the recipes' true values, (draws, len(a), len(b)); standardised."""
        return self.covariance_at(*self.separations(a, b), sets)

    def covariance_at(self, numbers: Floats, levels: Floats, sets: slice = slice(None)) -> Floats:
        """Give `covariance` from `separations`, of some draws."""
        lengths = self.sets_[sets, : self._inputs]
        total = shape(numbers, levels, lengths)
        total *= self.signal_[sets, None, None]
        total += self.level(levels, lengths)
        return total

    def level(self, levels: Floats, lengths: Floats) -> Floats | float:  # noqa: ARG002
        """Covariance of the constant mean, by `levels` of `separations`, of sets of lengths."""
        return 1.0

    def predict(self, points: Points) -> tuple[Floats, Floats]:
        """Posterior mean and variance of the recipes' true values a draw.

        Parameters
        ----------
        points : Points
            m recipes.

        Returns
        -------
        mean, variance : ndarray of shape (draws, m)
            In output units (and their square).
        """
        mean = np.empty((self.draws, len(points)))
        variance = np.empty((self.draws, len(points)))
        step = max(1, int(4e6 / (self.draws * max(len(self.outputs_), 1))))
        for start in range(0, len(points), step):
            part = slice(start, start + step)
            cross = self.covariance(points.take(part), self.points_)
            mean[:, part] = np.einsum("smn,sn->sm", cross, self.alpha_)
            solved = cross @ np.swapaxes(self.half_, 1, 2)
            explained = np.einsum("smn,smn->sm", solved, solved)
            variance[:, part] = self.signal_[:, None] + 1.0 - explained
        variance = np.maximum(variance, 1e-12)
        return self.centre_ + self.scale_ * mean, self.scale_**2 * variance

    def joint(self, points: Points, sets: slice = slice(None)) -> tuple[Floats, Floats]:
        """Joint posterior of the recipes' true values, standardised, of some draws.

        Returns
        -------
        mean : ndarray of shape (draws, m)
        covariance : ndarray of shape (draws, m, m)
        """
        cross = self.covariance(points, self.points_, sets)
        solved = cross @ np.swapaxes(self.half_[sets], 1, 2)
        mean = np.einsum("smn,sn->sm", cross, self.alpha_[sets])
        return mean, self.covariance(points, points, sets) - solved @ np.swapaxes(solved, 1, 2)

    def leave_out(self) -> LeftOut:
        """Predict each observation from all cones but its own.

        Notes
        -----
        The block form of Rasmussen & Williams 2006, eqs. 5.10-5.12: with ``P = K^-1`` and ``b``
        the rows of one cone, residual ``P_bb^-1 (P y)_b`` and covariance ``P_bb^-1``.
        Hyperparameters are not learnt anew.
        """
        mean = np.empty((self.draws, len(self.cones_)))
        variance = np.empty_like(mean)
        for cone in np.unique(self.cones_):
            rows = np.flatnonzero(self.cones_ == cone)
            part = self.half_[:, :, rows]
            block = np.linalg.inv(np.swapaxes(part, 1, 2) @ part)
            residual = np.einsum("sij,sj->si", block, self.alpha_[:, rows])
            mean[:, rows] = self.outputs_[rows] - residual
            variance[:, rows] = np.diagonal(block, axis1=1, axis2=2)
        return LeftOut(mean, variance)

    def log_evidence(self, without: Collection[str] = ()) -> float:
        """Estimate the log evidence of the observations, some inputs left out of the model.

        Parameters
        ----------
        without : collection of str
            Names among the encoding's inputs.

        Returns
        -------
        float
        """
        if not without:
            return self.exploration_.log_evidence
        keep = np.array([name not in without for name in self.encoding.inputs], dtype=bool)
        numeric = self._apart[0].shape[2]
        covariance = replace(
            self.covariance_,
            numbers=self.covariance_.numbers[:, :, keep[:numeric]],
            levels=self.covariance_.levels[:, :, keep[numeric:]],
        )
        kept = np.concatenate([keep, np.ones(self.sets_.shape[1] - len(keep), dtype=bool)])
        starts = [mode[kept] for mode in self.exploration_.modes]
        outputs = self.outputs_[self._lesson]
        count = _PROPOSALS if len(outputs) <= _FEW else _FEW_PROPOSALS
        return explore(covariance, outputs, self.seed, starts, count=count).log_evidence

    def _wild(self) -> npt.NDArray[np.bool_]:
        """Find observations far outside what all other cones foretell: at most one in eight."""
        n = len(self.outputs_)
        if n < 8:
            return np.zeros(n, dtype=bool)
        left = self.leave_out()
        ratio = np.abs(self.outputs_ - left.mean.mean(axis=0)) / np.sqrt(
            left.variance.mean(axis=0) + left.mean.var(axis=0)
        )
        limit = max(_OUTLIER, np.sort(ratio)[-(n // 8 + 1)])
        return np.asarray(ratio > limit)


def some_rows(recipes: Ints, most: int, seed: int) -> Ints:
    """Give the rows of all recipes, or of randomly drawn ones where there are too many rows."""
    if len(recipes) <= most:
        return np.arange(len(recipes))
    place = np.random.default_rng([seed, 31]).permutation(recipes.max() + 1)
    return np.sort(np.argsort(place[recipes], kind="stable")[:most])


def has_crossed_sessions(recipes: Ints, sessions: Ints) -> bool:
    """Whether some recipe was measured in more than one session."""
    pairs = np.unique(np.column_stack([recipes, sessions]), axis=0)
    return bool(len(pairs) > len(np.unique(recipes)))


def has_repeated_cones(cones: Ints) -> bool:
    """Whether some cone was measured more than once."""
    return len(np.unique(cones)) < len(cones)


def mixture_quantile(
    mean: Floats, sd: Floats, level: float | Floats, shares: Floats | None = None
) -> Floats:
    """Quantile of a mixture of normal distributions.

    Parameters
    ----------
    mean, sd : ndarray of shape (parts, ...)
    level : float or ndarray
        0..1; broadcast against (...).
    shares : ndarray of shape (parts,), optional
        Weights that sum to 1; equal if not given.

    Returns
    -------
    ndarray of shape (...)
        Found by bisection to a millionth of the widest part.
    """
    z = special.ndtri(level)
    ends = mean + z * sd
    low, high = ends.min(axis=0), ends.max(axis=0)
    for _ in range(40):
        middle = 0.5 * (low + high)
        parts = special.ndtr((middle - mean) / sd)
        below = (parts.mean(axis=0) if shares is None else shares @ parts) < level
        low = np.where(below, middle, low)
        high = np.where(below, high, middle)
    return np.asarray(0.5 * (low + high))
