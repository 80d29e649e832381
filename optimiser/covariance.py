"""The covariance of one metric's observations, and the posterior of its hyperparameters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from optimiser.kernels import matern, matern_and_slope
from optimiser.triangles import inverse, white_height

__all__ = ["Covariance"]

Floats = npt.NDArray[np.float64]

_LENGTH_SD = 1.0
_ALIKE = 0.5  # correlation of the length scales of two numbers, on the logarithm
_SIGNAL = (0.0, 1.0)
_NOISE = (-3.5, 1.5)
_JITTER = 1e-8

# How alike an earlier experiment is: exp(-1 / l^2) lies between 0.03 and 0.995 nine times in ten.
_ORIGIN = (1.0, 1.0)
_OFFSET = (-1.0, 2.0)  # the earlier rig's own offset: from nothing to several spreads


@dataclass(frozen=True)
class Covariance:
    """The covariance of standardised outputs as a function of the hyperparameters.

    A set of hyperparameters is a row ``[ln l (inputs), ln s², ln noise², ln block² ...]``.
    The constant mean is a term of unit variance.

    Parameters
    ----------
    numbers, levels : ndarray of shape (n, n, inputs)
        Separations of the observed recipes.
    blocks : list of ndarray of shape (n, n)
        1 where two observations share a random effect (a session, a cone), else 0.
    inflation : ndarray of shape (n,)
        Factor on the noise variance of each observation; 1 for an ordinary one.
    earlier : bool
        Whether the last choice tells an earlier experiment from this one and the last two blocks
        are the offset that the earlier one's observations share and the noise that they have more.
    log_unit : float
        Logarithm of the variance that is usual for these outputs; 0 for standardised ones.
    """

    numbers: Floats
    levels: Floats
    blocks: list[Floats]
    inflation: Floats
    earlier: bool = False
    log_unit: float = 0.0

    @property
    def inputs(self) -> int:
        """Number of length scales."""
        return int(self.numbers.shape[2] + self.levels.shape[2])

    @property
    def size(self) -> int:
        """Number of hyperparameters."""
        return self.inputs + 2 + len(self.blocks)

    def of(self, rows: npt.NDArray[np.intp]) -> Covariance:
        """Give the covariance of some of the observations."""
        if len(rows) == len(self.inflation):
            return self
        square = np.ix_(rows, rows)
        return replace(
            self,
            numbers=self.numbers[square],
            levels=self.levels[square],
            blocks=[block[square] for block in self.blocks],
            inflation=self.inflation[rows],
        )

    @cached_property
    def prior(self) -> tuple[Floats, Floats]:
        """Means and standard deviations of the normal priors on the logarithms.

        Length scales of numbers are alike in it, see `root`.
        """
        knobs = self.inputs - self.earlier
        noises = 1 + len(self.blocks) - 2 * self.earlier
        length = (-0.5 + 0.5 * np.log(max(knobs, 1)), _LENGTH_SD)
        lengths = [length] * knobs + [_ORIGIN] * self.earlier
        variances = [_SIGNAL] + [_NOISE] * noises + [_OFFSET, _NOISE] * self.earlier
        mean, sd = np.array(lengths + variances).T
        mean[self.inputs :] += self.log_unit
        return mean, sd

    @cached_property
    def root(self) -> Floats:
        """Lower factor of the prior covariance of the logarithms, (size, size).

        Half of what is not known of the length scales of numbers is their common level: a metric
        that is wavy in one knob is seldom flat in all others (levels of hyperparameters as in
        Neal 1996, Bayesian Learning for Neural Networks; from memory).
        """
        alike = np.eye(self.size)
        numbers = self.numbers.shape[2]
        alike[:numbers, :numbers] += _ALIKE * (1.0 - np.eye(numbers))
        _, sd = self.prior
        return np.asarray(np.linalg.cholesky(sd[:, None] * alike * sd))

    @cached_property
    def _precision(self) -> Floats:
        inverted = np.linalg.inv(self.root)
        return np.asarray(inverted.T @ inverted)

    def noise(self, sets: Floats) -> Floats:
        """Everything that is not the recipe: noise and random effects, (sets, n, n)."""
        count = self.inputs
        size = len(self.inflation)
        total = np.zeros((len(sets), size, size))
        own = np.exp(sets[:, count + 1])[:, None] * self.inflation + _JITTER
        total.reshape(len(sets), -1)[:, :: size + 1] = own
        for place, block in enumerate(self.blocks):
            total += np.exp(sets[:, count + 2 + place])[:, None, None] * block
        return total

    def log_posterior(self, sets: Floats, outputs: Floats) -> tuple[Floats, Floats]:
        """Unnormalised log posterior and its gradient.

        Parameters
        ----------
        sets : ndarray of shape (sets, size)
        outputs : ndarray of shape (n,)
            Standardised.

        Returns
        -------
        value : ndarray of shape (sets,)
            ``-inf`` where the covariance is not positive definite.
        gradient : ndarray of shape (sets, size)

        Notes
        -----
        Rasmussen & Williams 2006, eqs. 5.8 and 5.9.
        """
        count = self.inputs
        rows, columns = np.nonzero(self._below)
        squared, apart = self._separation(sets)
        scale = np.exp(sets[:, count])
        signal, falling = matern_and_slope(squared, apart)
        signal *= scale[:, None]
        falling *= scale[:, None]
        inverses, alpha, log_det, bad = _invert(self._total(sets, signal), outputs)
        value = -0.5 * (alpha @ outputs) - 0.5 * log_det - 0.5 * len(outputs) * np.log(2 * np.pi)

        # alpha alpha' - K^-1, contracted with each derivative of K: a pair stands for both halves.
        weight = alpha[:, rows] * alpha[:, columns]
        for pairs, inverted in zip(weight, inverses, strict=True):
            pairs -= inverted[self._below]
        diagonal = 0.5 * (alpha**2 - np.diagonal(inverses, axis1=1, axis2=2))
        rate = np.exp(-2.0 * sets[:, :count])
        numbers, levels = self._pairs
        numeric = len(numbers)
        slope = np.empty_like(sets)
        by_number = weight * falling
        slope[:, :numeric] = -2.0 * rate[:, :numeric] * (by_number @ numbers.T)
        by_pair = weight * signal
        slope[:, numeric:count] = 2.0 * rate[:, numeric:] * (by_pair @ levels.T)
        if self.earlier:
            level = self._level(sets)
            slope[:, count - 1] += 2.0 * rate[:, -1] * ((weight * level) @ levels[-1])
        slope[:, count] = by_pair.sum(axis=1) + scale * diagonal.sum(axis=1)
        slope[:, count + 1] = np.exp(sets[:, count + 1]) * (diagonal @ self.inflation)
        for place, block in enumerate(self.blocks):
            at = count + 2 + place
            shared = weight @ block[self._below] + diagonal @ np.diagonal(block)
            slope[:, at] = np.exp(sets[:, at]) * shared

        value = value + self._log_prior(sets)
        slope -= (sets - self.prior[0]) @ self._precision
        value[bad] = -np.inf
        slope[bad] = 0.0
        return value, slope

    def log_height(self, sets: Floats, outputs: Floats) -> Floats:
        """Give `log_posterior` without its gradient, at a fraction of the cost."""
        squared, apart = self._separation(sets)
        signal = np.exp(sets[:, self.inputs])[:, None] * matern(squared, apart)
        total = self._total(sets, signal)
        value = np.array([white_height(matrix, outputs) for matrix in total])
        value -= 0.5 * len(outputs) * np.log(2 * np.pi)
        return np.asarray(value + self._log_prior(sets))

    @cached_property
    def _below(self) -> npt.NDArray[np.bool_]:
        """Where the pairs of observations stand in a matrix of them, each pair once."""
        return np.tri(len(self.inflation), k=-1, dtype=bool)

    @cached_property
    def _pairs(self) -> tuple[Floats, Floats]:
        """Separations of the pairs, (inputs, pairs) each."""
        parts = self.numbers[self._below].T, self.levels[self._below].T
        return np.ascontiguousarray(parts[0]), np.ascontiguousarray(parts[1])

    def _separation(self, sets: Floats) -> tuple[Floats, Floats]:
        """Squared scaled distance and the choices' exponent of the pairs, (sets, pairs) each."""
        numbers, levels = self._pairs
        rate = np.exp(-2.0 * sets[:, : self.inputs])
        numeric = len(numbers)
        return rate[:, :numeric] @ numbers, rate[:, numeric:] @ levels

    def _total(self, sets: Floats, signal: Floats) -> Floats:
        """Covariance of the observations, (sets, n, n); the upper triangle is left out."""
        recipes = np.zeros((len(sets), *self._below.shape))
        for matrix, pairs in zip(recipes, signal + self._level(sets), strict=True):
            matrix[self._below] = pairs
        flat = recipes.reshape(len(sets), -1)
        flat[:, :: len(self._below) + 1] = np.exp(sets[:, self.inputs])[:, None] + 1.0
        recipes += self.noise(sets)
        return recipes

    def _level(self, sets: Floats) -> Floats | float:
        """Covariance of the constant mean of the pairs: 1, less between experiments."""
        if not self.earlier:
            return 1.0
        alike = -np.exp(-2.0 * sets[:, self.inputs - 1])
        return np.asarray(np.exp(alike[:, None] * self._pairs[1][-1]))

    def _log_prior(self, sets: Floats) -> Floats:
        off = sets - self.prior[0]
        return np.asarray(-0.5 * np.einsum("si,ij,sj->s", off, self._precision, off))


def _invert(
    matrices: Floats, outputs: Floats
) -> tuple[Floats, Floats, Floats, npt.NDArray[np.bool_]]:
    """Invert (lower triangles only), solve, and say which are not positive definite."""
    inverses = np.zeros_like(matrices)
    alpha, log_det = np.zeros(matrices.shape[:2]), np.zeros(len(matrices))
    bad = np.zeros(len(matrices), dtype=bool)
    for place, matrix in enumerate(matrices):
        found = inverse(matrix, outputs)
        if found is None or not np.isfinite(found[2]):
            bad[place] = True
        else:
            inverses[place], alpha[place], log_det[place] = found
    return inverses, alpha, log_det, bad
