"""Whole functions drawn from the posterior, cheap to value at thousands of recipes.

A prior function from random Fourier features is corrected to agree with the observations
(Matheron's rule): Wilson et al. (2020), Efficiently sampling functions from Gaussian process
posteriors, ICML. The spectral density of Matérn 5/2 is a multivariate t with 5 degrees of
freedom; a choice enters each feature as a random sign whose correlation between two levels is
the kernel's factor.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from optimiser.encoding import ORIGIN, Points
from optimiser.process import EnsembleProcess
from optimiser.surrogate import Model

__all__ = ["DrawnFunctions", "Paths"]

Floats = npt.NDArray[np.float64]

_FEATURES = 768
_EACH = 32  # functions a hyperparameter set: enough for a probability of a few per cent


@dataclass(frozen=True)
class _Features:
    """Random features of one hyperparameter set."""

    frequencies: npt.NDArray[np.float32]  # (p, features)
    phases: npt.NDArray[np.float32]
    signs: list[npt.NDArray[np.float32]]  # a choice: (levels, features)
    weights: npt.NDArray[np.float32]  # (features, functions)
    constants: npt.NDArray[np.float32]  # (experiments, functions)

    def values(self, points: Points) -> Floats:
        """Give the prior functions at the points, (m, functions)."""
        waves = np.cos(points.numbers.astype(np.float32) @ self.frequencies + self.phases)
        for column, sign in enumerate(self.signs):
            waves *= sign[points.levels[:, column]]
        place = points.levels[:, -1] if len(self.constants) > 1 else np.zeros(len(points), int)
        return np.asarray(waves @ self.weights + self.constants[place], dtype=float)


class Paths:
    """Functions drawn from one process's posterior.

    Parameters
    ----------
    process : EnsembleProcess
        Fitted.
    seed : int
    each : int
        Functions a hyperparameter set.
    """

    def __init__(self, process: EnsembleProcess, *, seed: int, each: int = _EACH) -> None:
        self.process = process
        rng = np.random.default_rng(seed)
        self._features = [_features(process, place, each, rng) for place in range(process.draws)]
        # Matheron's rule: weights that pull each prior function onto the observations.
        pulls = []
        for place, features in enumerate(self._features):
            root = np.linalg.cholesky(process.noise(place))
            noise = root @ rng.standard_normal((len(process.outputs_), each))
            gap = process.outputs_[:, None] - features.values(process.points_) - noise
            pulls.append(process.half_[place].T @ (process.half_[place] @ gap))
        self._pull = np.stack(pulls)

    def __call__(self, points: Points, *, chunk: int = 4096) -> Floats:
        """Give the functions' values, (functions, m), in output units.

        Parameters
        ----------
        points : Points
            m recipes.
        chunk : int
            Recipes valued at a time; bounds the memory.
        """
        process = self.process
        blocks = []
        for start in range(0, len(points), chunk):
            part = process.placed(points.take(slice(start, start + chunk)))
            cross = process.covariance(part, process.points_)
            prior = np.stack([features.values(part) for features in self._features])
            blocks.append(np.swapaxes(prior + cross @ self._pull, 1, 2).reshape(-1, len(part)))
        values = np.concatenate(blocks, axis=1)
        return process.centre_ + process.scale_ * values


def _features(
    process: EnsembleProcess, place: int, each: int, rng: np.random.Generator
) -> _Features:
    """Draw the features of one hyperparameter set."""
    encoding = process.encoding
    lengths = np.exp(process.sets_[place, : len(encoding.inputs)])
    numeric = len(encoding.inputs) - len(encoding.level_counts)
    by_column = lengths[:numeric][encoding.owner]
    normal = rng.standard_normal((len(encoding.owner), _FEATURES))
    heavy = np.sqrt(rng.chisquare(5, _FEATURES) / 5)
    frequencies = normal / heavy / by_column[:, None]
    signs = []
    for count, length in zip(encoding.level_counts, lengths[numeric:], strict=True):
        shared = rng.random((count, _FEATURES)) < np.exp(-0.5 / length**2)
        common = rng.choice([-1.0, 1.0], _FEATURES)
        own = rng.choice([-1.0, 1.0], (count, _FEATURES))
        signs.append(np.where(shared, common, own).astype(np.float32))
    amplitude = np.sqrt(2.0 * process.signal_[place] / _FEATURES)
    return _Features(
        frequencies.astype(np.float32),
        rng.uniform(0, 2 * np.pi, _FEATURES).astype(np.float32),
        signs,
        (amplitude * rng.standard_normal((_FEATURES, each))).astype(np.float32),
        _constants(process, place, each, rng).astype(np.float32),
    )


def _constants(
    process: EnsembleProcess, place: int, each: int, rng: np.random.Generator
) -> Floats:
    """Draw the constant mean of this experiment and, where one is learnt from, the earlier one."""
    own = rng.standard_normal((1, each))
    if ORIGIN not in process.encoding.inputs:
        return own
    alike = np.exp(-np.exp(-2.0 * process.sets_[place, len(process.encoding.inputs) - 1]))
    other = alike * own + np.sqrt(1.0 - alike**2) * rng.standard_normal((1, each))
    return np.concatenate([own, other])


class DrawnFunctions:
    """Drawn functions of a metric or of the score, in the units that a user reads.

    Parameters
    ----------
    model : Model
    metric : str
        A metric's name, or ``'score'``.
    seed : int
    """

    def __init__(self, model: Model, metric: str = "score", *, seed: int = 0) -> None:
        self.model = model
        self.metric = metric
        names = model.goals.needed if metric == "score" else [metric]
        places = {name: place for place, name in enumerate(model.plan.metrics)}
        self._paths = {
            name: Paths(model.metrics[name].process, seed=seed * 1009 + places[name])
            for name in names
        }

    def __call__(self, points: Points) -> Floats:
        """Give the values, (functions, m)."""
        values = {
            name: self.model.metrics[name].back(paths(points))
            for name, paths in self._paths.items()
        }
        return self.model.goals.score(values) if self.metric == "score" else values[self.metric]
