"""The covariance of one metric's observations, and the posterior of its hyperparameters."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from optimiser.kernels import matern, matern_slope
from optimiser.triangles import inverse, white_height

__all__ = ["Covariance"]

Floats = npt.NDArray[np.float64]

_LENGTH_SD = 1.0
_SIGNAL = (0.0, 1.0)
_NOISE = (-3.5, 1.5)
_JITTER = 1e-8


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
    """

    numbers: Floats
    levels: Floats
    blocks: list[Floats]
    inflation: Floats

    @property
    def inputs(self) -> int:
        """Number of length scales."""
        return int(self.numbers.shape[2] + self.levels.shape[2])

    @property
    def size(self) -> int:
        """Number of hyperparameters."""
        return self.inputs + 2 + len(self.blocks)

    def prior(self) -> tuple[Floats, Floats]:
        """Means and standard deviations of the normal priors on the logarithms."""
        length = -0.5 + 0.5 * np.log(max(self.inputs, 1))
        mean = [length] * self.inputs + [_SIGNAL[0]] + [_NOISE[0]] * (1 + len(self.blocks))
        sd = [_LENGTH_SD] * self.inputs + [_SIGNAL[1]] + [_NOISE[1]] * (1 + len(self.blocks))
        return np.array(mean), np.array(sd)

    def noise(self, sets: Floats) -> Floats:
        """Everything that is not the recipe: noise and random effects, (sets, n, n)."""
        count = self.inputs
        diagonal = np.exp(sets[:, count + 1])[:, None] * self.inflation + _JITTER
        total = diagonal[:, :, None] * np.eye(len(self.inflation))
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
        n = len(outputs)
        count, numeric = self.inputs, self.numbers.shape[2]
        rate = np.exp(-2.0 * sets[:, :count])
        flat = self.numbers.reshape(n * n, numeric)
        apart = self.levels.reshape(n * n, count - numeric)
        squared, factor, signal = self._signal(sets)
        total = signal.reshape(-1, n, n) + 1.0 + self.noise(sets)
        inverse, log_det, bad = _invert(total)
        alpha = inverse @ outputs
        value = -0.5 * (alpha @ outputs) - 0.5 * log_det - 0.5 * n * np.log(2 * np.pi)

        # Half of (alpha alpha' - K^-1), contracted with each derivative of K.
        weight = (0.5 * (alpha[:, :, None] * alpha[:, None, :] - inverse)).reshape(-1, n * n)
        slope = np.empty_like(sets)
        by_number = weight * factor * matern_slope(squared)
        slope[:, :numeric] = -2.0 * rate[:, :numeric] * (by_number @ flat)
        slope[:, numeric:count] = 2.0 * rate[:, numeric:] * ((weight * signal) @ apart)
        slope[:, count] = np.sum(weight * signal, axis=1)
        on_diagonal = weight[:, :: n + 1] @ self.inflation
        slope[:, count + 1] = np.exp(sets[:, count + 1]) * on_diagonal
        for place, block in enumerate(self.blocks):
            at = count + 2 + place
            slope[:, at] = np.exp(sets[:, at]) * (weight @ block.ravel())

        mean, sd = self.prior()
        value = value + self._log_prior(sets)
        slope -= (sets - mean) / sd**2
        value[bad] = -np.inf
        slope[bad] = 0.0
        return value, slope

    def log_height(self, sets: Floats, outputs: Floats) -> Floats:
        """Give `log_posterior` without its gradient, at a fraction of the cost."""
        n = len(outputs)
        total = self._signal(sets)[2].reshape(-1, n, n) + 1.0 + self.noise(sets)
        value = np.array([white_height(matrix, outputs) for matrix in total])
        return np.asarray(value - 0.5 * n * np.log(2 * np.pi) + self._log_prior(sets))

    def _signal(self, sets: Floats) -> tuple[Floats, Floats, Floats]:
        """Squared scaled distance, scale factor and signal covariance, (sets, n * n) each."""
        count, numeric = self.inputs, self.numbers.shape[2]
        pairs = self.numbers.shape[0] ** 2
        rate = np.exp(-2.0 * sets[:, :count])
        squared = (self.numbers.reshape(pairs, numeric) @ rate[:, :numeric].T).T
        apart = (self.levels.reshape(pairs, count - numeric) @ rate[:, numeric:].T).T
        factor = np.exp(sets[:, count])[:, None] * np.exp(-apart)
        return squared, factor, factor * matern(squared)

    def _log_prior(self, sets: Floats) -> Floats:
        mean, sd = self.prior()
        return np.asarray(-0.5 * np.sum(((sets - mean) / sd) ** 2, axis=1))


def _invert(matrices: Floats) -> tuple[Floats, Floats, npt.NDArray[np.bool_]]:
    """Invert symmetric positive definite matrices; say which were not."""
    size = matrices.shape[1]
    inverses, log_det = np.zeros_like(matrices), np.zeros(len(matrices))
    bad = np.ones(len(matrices), dtype=bool)
    for place, matrix in enumerate(matrices):
        found = inverse(matrix)
        if found is not None and np.isfinite(found[1]):
            inverses[place], log_det[place] = found
            bad[place] = False
    inverses[bad] = np.eye(size)
    return inverses, log_det, bad
