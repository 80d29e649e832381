"""Hyperparameters of one Gaussian process: their posterior, its maximum and draws from it.

At the sizes a workshop reaches, a single best set of hyperparameters is too sure of itself.
Predictions are therefore averaged over draws: a Laplace approximation at the maxima, a
multivariate t with 5 degrees of freedom as proposal, importance resampling.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize, special, stats

from optimiser.covariance import Covariance
from optimiser.triangles import portions

__all__ = ["Exploration", "explore", "modes"]

Floats = npt.NDArray[np.float64]

_DEGREES = 5
_PROPOSALS = 256
_SAME_MODE = 0.3  # distance, in prior standard deviations, under which two maxima are one
_FAR_BELOW = 8.0  # log posterior below the highest at which a maximum no longer counts
_NOISY_SIGNAL, _NOISY_NOISE = -2.0, -0.5
_NEAR = 1e-4  # relative rise at which a climb ends; the proposals around it forgive the rest
_SHORT = 2.5  # prior standard deviations; where each recipe has an effect of its own


def modes(
    covariance: Covariance, outputs: Floats, starts: list[Floats] | None = None
) -> list[Floats]:
    """Find the maxima of the posterior that several beginnings lead to.

    Parameters
    ----------
    covariance : Covariance
    outputs : ndarray of shape (n,)
        Standardised.
    starts : list of ndarray of shape (size,), optional
        By default the prior's middle, short length scales, and all being noise.

    Returns
    -------
    list of ndarray of shape (size,)
        The highest first; those that are the same or far less probable are left out.
    """
    _, sd = covariance.prior
    found = [_climb(covariance, outputs, start) for start in starts or _starts(covariance)]
    found.sort(key=lambda result: result[0])
    kept: list[Floats] = []
    for loss, place in found:
        apart = [np.linalg.norm((place - other) / sd) > _SAME_MODE for other in kept]
        if all(apart) and loss < found[0][0] + _FAR_BELOW:
            kept.append(place)
    return kept


def _starts(covariance: Covariance) -> list[Floats]:
    """Begin at the prior's middle, at short length scales, and where all is noise."""
    mean, sd = covariance.prior
    count = covariance.inputs
    short = mean.copy()
    short[:count] -= _SHORT * sd[:count]
    noisy = mean.copy()
    noisy[count] = _NOISY_SIGNAL
    noisy[count + 1] = _NOISY_NOISE
    return [mean, short, noisy]


def _climb(covariance: Covariance, outputs: Floats, start: Floats) -> tuple[float, Floats]:
    """Climb from one start; give the negative log posterior and the place."""
    mean, sd = covariance.prior

    def target(point: Floats) -> tuple[float, Floats]:
        value, slope = covariance.log_posterior(point[None, :], outputs)
        return (-float(value[0]), -slope[0]) if np.isfinite(value[0]) else (1e25, -slope[0])

    bounds = list(zip(mean - 5 * sd, mean + 5 * sd, strict=True))
    found = optimize.minimize(
        target, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"ftol": _NEAR}
    )
    return float(found.fun), np.asarray(found.x)


@dataclass(frozen=True)
class Exploration:
    """Proposals around the maxima of the posterior, and what each weighs.

    Parameters
    ----------
    modes : list of ndarray of shape (size,)
        The maxima.
    proposals : ndarray of shape (proposals, size)
    log_weight : ndarray of shape (proposals,)
        Logarithm of posterior over proposal density, the largest truncated.
    """

    modes: list[Floats]
    proposals: Floats
    log_weight: Floats

    def draw(self, count: int, seed: int) -> Floats:
        """Draw hyperparameter sets, (count, size); all weigh the same, one may come twice."""
        weight = special.softmax(self.log_weight)
        return self.proposals[_systematic(weight, count, seed)]

    @property
    def log_evidence(self) -> float:
        """Estimate of the log of the likelihood averaged over the prior."""
        return float(special.logsumexp(self.log_weight) - np.log(len(self.log_weight)))


def explore(
    covariance: Covariance,
    outputs: Floats,
    seed: int,
    starts: list[Floats] | None = None,
    *,
    count: int = _PROPOSALS,
) -> Exploration:
    """Find the maxima of the posterior and weigh proposals around them.

    Parameters
    ----------
    covariance : Covariance
    outputs : ndarray of shape (n,)
        Standardised.
    seed : int
    starts : list of ndarray of shape (size,), optional
        Where to begin climbing; by default three beginnings of our own.
    count : int
        Proposals, a power of two.

    Returns
    -------
    Exploration
    """
    size = covariance.size
    centres = modes(covariance, outputs, starts)
    roots = [_laplace_root(covariance, outputs, centre) for centre in centres]
    sobol = stats.qmc.Sobol(size + 1, scramble=True, rng=np.random.default_rng(seed))
    uniform = np.clip(sobol.random(count), 1e-9, 1 - 1e-9)
    chi = stats.chi2.ppf(uniform[:, -1], _DEGREES)
    step = special.ndtri(uniform[:, :-1]) / np.sqrt(chi / _DEGREES)[:, None]
    owner = np.arange(count) % len(centres)
    proposals = np.vstack(
        [centres[k] + step[owner == k] @ roots[k].T for k in range(len(centres))]
    )
    parts = [_log_t(proposals, centre, root) for centre, root in zip(centres, roots, strict=True)]
    log_proposal = special.logsumexp(parts, axis=0) - np.log(len(centres))
    log_target = np.concatenate(
        [
            covariance.log_height(proposals[part], outputs)
            for part in portions(len(proposals), len(outputs))
        ]
    )
    log_target -= np.log(np.diagonal(covariance.root)).sum() + 0.5 * size * np.log(2 * np.pi)
    return Exploration(centres, proposals, _truncated(log_target - log_proposal))


def _truncated(log_weight: Floats) -> Floats:
    """Cut weights at the root of their number times their mean.

    Ionides (2008), Truncated importance sampling, Journal of Computational and Graphical
    Statistics 17(2): where the proposals miss a corner of the posterior, one lucky draw would
    else stand for all.
    """
    limit = special.logsumexp(log_weight) - 0.5 * np.log(len(log_weight))
    return np.asarray(np.minimum(log_weight, limit))


def _log_t(points: Floats, centre: Floats, root: Floats) -> Floats:
    """Log density of the multivariate t with 5 degrees of freedom and scale ``root root'``."""
    size = len(centre)
    steps = np.linalg.solve(root, (points - centre).T).T
    density = stats.multivariate_t.logpdf(steps, shape=np.eye(size), df=_DEGREES)
    return np.asarray(np.atleast_1d(density) - np.linalg.slogdet(root)[1])


def _laplace_root(covariance: Covariance, outputs: Floats, centre: Floats) -> Floats:
    """Square root of the inverse Hessian at the maximum, its axes no wider than the prior's."""
    prior = covariance.root
    size = len(centre)
    step = 1e-3
    shifted = np.vstack([centre + step * np.eye(size), centre - step * np.eye(size)])
    slopes = np.vstack(
        [
            covariance.log_posterior(shifted[part], outputs)[1]
            for part in portions(len(shifted), len(outputs))
        ]
    )
    hessian = -(slopes[:size] - slopes[size:]) / (2 * step)
    hessian = 0.5 * (hessian + hessian.T)
    # In prior units the prior alone gives curvature 1.
    scaled = prior.T @ hessian @ prior
    values, vectors = np.linalg.eigh(scaled)
    width = 1.0 / np.sqrt(np.clip(values, 0.7, None))
    root: Floats = prior @ vectors * width
    return root


def _systematic(weight: Floats, count: int, seed: int) -> npt.NDArray[np.intp]:
    """Systematic resampling: `count` places in proportion to the weights."""
    offset = np.random.default_rng(seed + 1).random()
    places = np.searchsorted(np.cumsum(weight), (np.arange(count) + offset) / count)
    return np.minimum(places, len(weight) - 1).astype(np.intp)
