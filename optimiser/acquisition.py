"""Noisy expected improvement of the score, each metric modelled by itself.

Letham et al. (2019), Constrained Bayesian optimization with noisy experiments, Bayesian Analysis
14(2): the best so far is not a measured number but a draw of the recipes' true values. Pending
cones join the drawn recipes, so that a plate of several does not ask one question twice. The
logarithm is maximised (Ament et al. 2023, Unexpected improvements to expected improvement), the
score is a function of several modelled metrics (Astudillo & Frazier 2019, Bayesian optimization
of composite functions).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from optimiser.encoding import Points
from optimiser.kernels import separations
from optimiser.surrogate import MetricModel, Model
from optimiser.triangles import inverse_factors, portions, roots

__all__ = ["ALL", "Draws", "NoisyImprovement", "log_expected_improvement"]

Floats = npt.NDArray[np.float64]
Draws = tuple[slice, slice]

_JITTER = 1e-6
ALL = (slice(None), slice(None))
"""Every hyperparameter set and every incumbent."""
_ROUGH = (slice(None, None, 2), slice(None, None, 4))
_SMOOTH = 2e-3  # softness of the improvement's corner, in units of the score


class NoisyImprovement:
    """Expected improvement over the best of the known recipes.

    Parameters
    ----------
    model : Model
        Scorable.
    known : Points
        Distinct recipes measured, planned or printed, and those already picked.
    incumbents : int
        Draws of the known recipes' true values a hyperparameter set.
    seed : int

    Raises
    ------
    ValueError
        The model cannot score.
    """

    def __init__(
        self, model: Model, known: Points, *, incumbents: int = 16, seed: int = 0
    ) -> None:
        if not model.scorable:
            raise ValueError("the score has no model yet")
        self.model = model
        self.known = known
        self._parts = [
            _Conditional(model.metrics[name], known, incumbents, seed + 101 * place)
            for place, name in enumerate(model.goals.needed)
        ]
        utility = self._utility(self._known_values())
        self.best_ = utility.max(axis=2)
        normal = stats.qmc.Sobol(len(self._parts) + 1, rng=np.random.default_rng(seed))
        count = self.best_.size
        uniform = normal.random(2 ** int(np.ceil(np.log2(count))))[:count, : len(self._parts)]
        self._normal = special.ndtri(np.clip(uniform, 1e-6, 1 - 1e-6)).reshape(
            *self.best_.shape, len(self._parts)
        )

    def _named(self) -> list[tuple[str, _Conditional]]:
        return list(zip(self.model.goals.needed, self._parts, strict=True))

    def _utility(self, values: dict[str, Floats]) -> Floats:
        """Give the utility of values on the learnt scales; a single metric stays on its own."""
        if self._analytic:
            return np.asarray(self.model.goals.sign * values[self.model.goals.needed[0]])
        return self.model.goals.utility(self._back(values))

    @property
    def _analytic(self) -> bool:
        """Whether the improvement has a closed form: one metric, taken as it is."""
        return self.model.goals.raw is not None and not self.model.goals.limited

    def log_value(self, points: Points, *, rough: bool = False) -> Floats:
        """Logarithm of the expected improvement, chance of printing included.

        Parameters
        ----------
        points : Points
            m recipes.
        rough : bool
            From an eighth of the draws only, to sort many recipes quickly.

        Returns
        -------
        ndarray of shape (m,)
        """
        # As many recipes at a time as keep the matrices in the processor's cache.
        draws = _ROUGH if rough else ALL
        step = max(128, int(4e5 / (len(self.best_[draws]) * max(len(self.known), 1))))
        starts = range(0, len(points), step)
        parts = [self._log_improvement(points.take(slice(i, i + step)), draws) for i in starts]
        log = np.concatenate(parts) if parts else np.empty(0)
        return np.asarray(log + np.log(self.model.printability(points)))

    def _log_improvement(self, points: Points, draws: Draws) -> Floats:
        """Give `log_value` of recipes that are sure to print."""
        best = self.best_[draws][:, :, None]
        if self._analytic:
            mean, sd = self._parts[0].predict(points, draws)
            logs = log_expected_improvement(self.model.goals.sign * mean, sd[:, None, :], best)
            return np.asarray(special.logsumexp(logs, axis=(0, 1)) - np.log(best.size))
        rise = (self._utility(self._drawn(points, draws)) - best) / self._softness
        return np.asarray(np.log(np.mean(np.logaddexp(0.0, rise), axis=(0, 1)) + 1e-300))

    @property
    def _softness(self) -> float:
        if self.model.goals.raw is None:
            return _SMOOTH
        return max(_SMOOTH * float(np.std(self.best_)), 1e-12)

    def gain(self, points: Points) -> Floats:
        """Improvement that each recipe promises, (draws, m), in the unit of the score."""
        rise = np.maximum(self._rise(points), 0.0)
        return np.nan_to_num(rise, nan=0.0, posinf=0.0)

    def step(self, points: Points) -> Floats:
        """Rise over the best of the known recipes that is expected of each recipe, (m,).

        The mean of what `gain` counts only where it is above 0; NaN where no draw has a score.
        """
        rise = np.ma.masked_invalid(self._rise(points))
        return np.asarray(rise.mean(axis=0).filled(np.nan), dtype=float)

    def _rise(self, points: Points) -> Floats:
        """Give one draw of each recipe less the best of the known ones, (draws, m)."""
        goals = self.model.goals
        drawn = self._back(self._drawn(points, ALL))
        known = self._back(self._known_values())
        worst = -np.inf
        new = np.nan_to_num(goals.sign * goals.score(drawn), nan=worst)
        old = np.nan_to_num(goals.sign * goals.score(known), nan=worst).max(axis=2)
        with np.errstate(invalid="ignore"):
            rise = new - old[:, :, None]
        return np.asarray(rise.reshape(-1, len(points)))

    def _known_values(self) -> dict[str, Floats]:
        """Give the drawn values of the known recipes, on the learnt scales."""
        return {name: part.values for name, part in self._named()}

    def _drawn(self, points: Points, draws: Draws) -> dict[str, Floats]:
        """Give one draw of each recipe a (hyperparameter set, incumbent), on the learnt scales."""
        # Metrics that an earlier experiment has too are conditioned on its recipes as well.
        alike = self.model.earlier is None
        shared = separations(self.model.encoding, points, self.known) if alike else None
        values = {}
        for place, (name, part) in enumerate(self._named()):
            mean, sd = part.predict(points, draws, shared)
            values[name] = mean + sd[:, None, :] * self._normal[draws][:, :, None, place]
        return values

    def _back(self, values: dict[str, Floats]) -> dict[str, Floats]:
        """Give values of the learnt scales in the metrics' units."""
        return {name: part.model.back(values[name]) for name, part in self._named()}


class _Conditional:
    """One metric given draws of the true values at the known recipes."""

    def __init__(self, model: MetricModel, known: Points, incumbents: int, seed: int) -> None:
        self.model = model
        process = model.process
        own = len(known)
        known = self.known = process.told_by(known)
        size = len(known)
        rng = np.random.default_rng(seed)
        normal = rng.standard_normal((process.draws, incumbents // 2, size))
        normal = np.concatenate([normal, -normal], axis=1)  # antithetic
        self._half = np.empty((process.draws, size, size))
        drawn = np.empty_like(normal)
        jitter = _JITTER * process.signal_[:, None, None] * np.eye(size)
        for part in portions(process.draws, size):
            mean, covariance = process.joint(known, part)
            root = roots(covariance, process.signal_[part])
            drawn[part] = mean[:, None, :] + normal[part] @ np.swapaxes(root, 1, 2)
            prior = process.covariance(known, known, part)
            self._half[part] = inverse_factors(prior + jitter[part])
        self.values = process.centre_ + process.scale_ * drawn[:, :, :own]
        self._weights = drawn @ np.swapaxes(self._half, 1, 2) @ self._half

    def predict(
        self,
        points: Points,
        draws: Draws = ALL,
        apart: tuple[Floats, Floats] | None = None,
    ) -> tuple[Floats, Floats]:
        """Mean (sets, incumbents, m) and standard deviation (sets, m) of some draws.

        `apart` is the separation of the recipes from the known ones, if it is at hand.
        """
        process = self.model.process
        apart = apart or process.separations(points, self.known)
        sets = draws[0]
        cross = process.covariance_at(*apart, sets)
        mean = self._weights[draws] @ np.swapaxes(cross, 1, 2)
        solved = cross @ np.swapaxes(self._half[sets], 1, 2)
        explained = np.einsum("smn,smn->sm", solved, solved)
        variance = process.signal_[sets, None] + 1.0 - explained
        sd = np.sqrt(np.maximum(variance, 1e-10))
        return process.centre_ + process.scale_ * mean, process.scale_ * sd


def log_expected_improvement(mean: Floats, sd: Floats, best: Floats) -> Floats:
    """Logarithm of E[max(y - best, 0)] for normal y, accurate far below the best.

    Parameters
    ----------
    mean, sd, best : ndarray
        Broadcast together.

    Returns
    -------
    ndarray

    Notes
    -----
    ``log sd + log(φ(z) + z Φ(z))``, with the asymptotic form for z < -1 written through the
    scaled complementary error function (Ament et al. 2023, eq. 9).
    """
    z = (mean - best) / sd
    near = np.maximum(z, -1.0)
    plain = np.log(np.exp(-0.5 * near**2) / np.sqrt(2 * np.pi) + near * special.ndtr(near))
    far = np.minimum(z, -1.0)
    ratio = np.sqrt(np.pi / 2) * special.erfcx(-far / np.sqrt(2)) * np.abs(far)
    deep = far < -1e3
    tail = np.where(deep, -2 * np.log(np.abs(far)), np.log1p(-np.where(deep, 0.0, ratio)))
    log_tail = -0.5 * far**2 - 0.5 * np.log(2 * np.pi) + tail
    return np.asarray(np.log(sd) + np.where(z > -1.0, plain, log_tail))
