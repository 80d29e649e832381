"""Whole functions drawn from the posterior, cheap to value at thousands of recipes.

A prior function from random Fourier features is corrected to agree with the observations
(Matheron's rule): Wilson et al. (2020), Efficiently sampling functions from Gaussian process
posteriors, ICML. The spectral density of Matérn 5/2 is a multivariate t with 5 degrees of
freedom; a choice enters each feature as a random sign whose correlation between two levels is
the kernel's factor.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from optimiser.encoding import ORIGIN, Encoding, Points
from optimiser.kernels import matern
from optimiser.process import EnsembleProcess
from optimiser.surrogate import Model
from optimiser.threads import over_parts

__all__ = ["DrawnFunctions", "Paths"]

Floats = npt.NDArray[np.float64]
Floats32 = npt.NDArray[np.float32]

_FEATURES = 768
_EACH = 32  # functions a hyperparameter set: enough for a probability of a few per cent
_PART = (64, 256)  # recipes valued at a time: their features stay in a processor's cache


@dataclass(frozen=True)
class _Set:
    """Functions of one hyperparameter set; recipes come as `_wide` gives them.

    A sign of -1 is a phase of half a turn, so that numbers, choices and phases enter the features
    by one product of matrices; so do the squared distances to the observations.
    """

    waves: Floats32  # (numbers, constant and levels; features)
    weights: Floats32  # (features, functions)
    constants: Floats  # (experiments, functions): prior mean and its correction
    squares: Floats  # (squares, numbers and constant; n): squared distances to the observations
    levels: Floats  # (levels, n): logarithm of what differing levels take off
    pull: Floats  # (n, functions): what pulls the functions onto the observations

    def prior(self, wide: Floats, place: npt.NDArray[np.intp]) -> Floats:
        """Give the functions as they are without observations, (m, functions)."""
        columns = wide[:, -len(self.waves) :].astype(np.float32)
        angles = columns @ self.waves
        waves = np.cos(angles, out=angles)
        return np.asarray(waves @ self.weights, dtype=float) + self.constants[place]

    def __call__(self, wide: Floats, place: npt.NDArray[np.intp]) -> Floats:
        """Give the functions' values, (m, functions), standardised."""
        squared = wide[:, : len(self.squares)] @ self.squares
        np.maximum(squared, 0.0, out=squared)
        cross = matern(squared, wide[:, len(self.squares) :] @ self.levels)
        return self.prior(wide, place) + cross @ self.pull


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
        drawn = [_features(process, place, each, rng) for place in range(process.draws)]
        # Matheron's rule: weights that pull each prior function onto the observations.
        wide, origin = _wide(process.encoding, process.points_)
        for place, features in enumerate(drawn):
            root = np.linalg.cholesky(process.noise(place))
            noise = root @ rng.standard_normal((len(process.outputs_), each))
            gap = process.outputs_[:, None] - features.prior(wide, origin) - noise
            pull = process.half_[place].T @ (process.half_[place] @ gap)
            drawn[place] = _corrected(process, place, features, pull)
        self._sets = drawn

    def thinned(self, every: int) -> Paths:
        """Give one function in so many of each hyperparameter set."""
        other = copy(self)
        other._sets = [
            replace(
                one,
                weights=np.ascontiguousarray(one.weights[:, ::every]),
                constants=one.constants[:, ::every],
                pull=np.ascontiguousarray(one.pull[:, ::every]),
            )
            for one in self._sets
        ]
        return other

    def __call__(self, points: Points) -> Floats:
        """Give the functions' values, (functions, m), in output units.

        Parameters
        ----------
        points : Points
            m recipes.
        """
        return over_parts(self.of_part, points.parts(*_PART))

    def of_part(self, points: Points) -> Floats:
        """Give the same of a few recipes, valued at a time."""
        process = self.process
        wide, origin = _wide(process.encoding, process.placed(points))
        values = np.vstack([np.ascontiguousarray(one(wide, origin).T) for one in self._sets])
        values *= process.scale_
        values += process.centre_
        return values


def _wide(encoding: Encoding, points: Points) -> tuple[Floats, npt.NDArray[np.intp]]:
    """Give recipes as rows to multiply with, and which experiment each belongs to.

    The columns: squares of the numbers, the numbers, 1, then 1 or 0 a level of each choice.
    """
    marks = [
        points.levels[:, [column]] == np.arange(count)
        for column, count in enumerate(encoding.level_counts)
    ]
    one = np.ones((len(points), 1))
    wide = np.hstack([points.numbers**2, points.numbers, one, *marks])
    informed = ORIGIN in encoding.inputs
    return wide, points.levels[:, -1] if informed else np.zeros(len(points), dtype=np.intp)


def _features(process: EnsembleProcess, place: int, each: int, rng: np.random.Generator) -> _Set:
    """Draw the features of one hyperparameter set; nothing pulls them yet."""
    encoding = process.encoding
    lengths = np.exp(process.sets_[place, : len(encoding.inputs)])
    numeric = len(encoding.inputs) - len(encoding.level_counts)
    by_column = lengths[:numeric][encoding.owner]
    normal = rng.standard_normal((len(encoding.owner), _FEATURES))
    heavy = np.sqrt(rng.chisquare(5, _FEATURES) / 5)
    waves = [normal / heavy / by_column[:, None]]
    turns = []
    for count, length in zip(encoding.level_counts, lengths[numeric:], strict=True):
        shared = rng.random((count, _FEATURES)) < np.exp(-0.5 / length**2)
        common = rng.choice([-1.0, 1.0], _FEATURES)
        own = rng.choice([-1.0, 1.0], (count, _FEATURES))
        turns.append(np.where(np.where(shared, common, own) < 0, np.pi, 0.0))
    amplitude = np.sqrt(2.0 * process.signal_[place] / _FEATURES)
    waves += [rng.uniform(0, 2 * np.pi, (1, _FEATURES)), *turns]
    return _Set(
        waves=np.vstack(waves).astype(np.float32),
        weights=(amplitude * rng.standard_normal((_FEATURES, each))).astype(np.float32),
        constants=_constants(process, place, each, rng),
        squares=_squares(process, 1.0 / by_column**2),
        levels=_levels(process, 1.0 / lengths[numeric:] ** 2),
        pull=np.zeros((len(process.points_), each)),
    )


def _squares(process: EnsembleProcess, rate: Floats) -> Floats:
    """Give what `_wide` is multiplied with to get squared scaled distances."""
    seen = process.points_.numbers.T  # |a - b|^2 = a^2 - 2 a b + b^2
    own = np.repeat(rate[:, None], seen.shape[1], axis=1)
    return np.vstack([own, -2.0 * rate[:, None] * seen, rate @ seen**2])


def _levels(process: EnsembleProcess, rate: Floats) -> Floats:
    """Give what the marks of levels are multiplied with to get the kernel's exponent."""
    seen = process.points_.levels.T
    counts = process.encoding.level_counts
    apart = [
        each * (np.arange(count)[:, None] != levels)
        for count, levels, each in zip(counts, seen, rate, strict=True)
    ]
    return np.vstack([np.zeros((0, len(process.points_))), *apart])


def _corrected(process: EnsembleProcess, place: int, features: _Set, pull: Floats) -> _Set:
    """Pull the functions of one hyperparameter set onto the observations."""
    experiments = np.arange(len(features.constants))
    apart = np.zeros((1, len(pull), 1))
    if len(experiments) > 1:
        apart = (experiments[:, None] != process.points_.levels[:, -1])[:, :, None].astype(float)
    level = np.broadcast_to(
        process.level(apart, process.sets_[[place], : len(process.encoding.inputs)]),
        (1, len(experiments), len(pull)),
    )[0]
    return replace(
        features,
        constants=features.constants + level @ pull,
        pull=process.signal_[place] * pull,
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
    every : int
        One function in so many is drawn, the same as without.
    """

    def __init__(
        self, model: Model, metric: str = "score", *, seed: int = 0, every: int = 1
    ) -> None:
        self.model = model
        self.metric = metric
        names = model.goals.needed if metric == "score" else [metric]
        self._paths = {name: _paths(model, name, seed) for name in names}
        if every > 1:
            self._paths = {name: paths.thinned(every) for name, paths in self._paths.items()}

    def __call__(self, points: Points) -> Floats:
        """Give the values, (functions, m)."""
        return over_parts(self._of_part, points.parts(*_PART))

    def _of_part(self, points: Points) -> Floats:
        values = {
            name: self.model.metrics[name].back(paths.of_part(points))
            for name, paths in self._paths.items()
        }
        return self.model.goals.score(values) if self.metric == "score" else values[self.metric]


def _paths(model: Model, name: str, seed: int) -> Paths:
    """Draw one metric's functions, or give those that the model keeps: every answer asks."""
    if (name, seed) not in model.paths:
        place = list(model.plan.metrics).index(name)
        process = model.metrics[name].process
        model.paths[name, seed] = Paths(process, seed=seed * 1009 + place)
    found = model.paths[name, seed]
    assert isinstance(found, Paths)
    return found
