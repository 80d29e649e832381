"""A linear mixed model: where the spread of repeated measurements comes from.

``y = X b + Z1 u1 + Z2 u2 + .. + e`` with a mean of its own for each fixed group, independent
normal effects ``u_i`` of variance ``ratio_i * s2`` for each random group, and residuals of
variance ``s2``. Laird & Ware (1982), Biometrics 38(4); the restricted likelihood is that of
Patterson & Thompson (1971), Biometrika 58(3), in the form of Pinheiro & Bates (2000), section
2.2 (section numbers from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

__all__ = ["MixedFit", "MixedModel", "Pieces"]

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.intp]
Target = Callable[[Floats], tuple[float, Floats]]

_TOP = float(np.log1p(1e8))  # ln(1 + ratio) that stands for 'no residual to speak of'
_GRID = np.expm1(np.array([0.0, 0.05, 0.2, 0.5, 1.0, 1.8, 3.0, 5.0, 8.0, 12.0]))


@dataclass(frozen=True)
class Pieces:
    """The likelihood at some ratios, taken apart so that the residual variance stays free.

    Parameters
    ----------
    log_det : ndarray of shape (m,)
        ``ln|H|``, with ``ln|X'H^-1 X|`` added where restricted; ``H = I + sum ratio_i Z_i Z_i'``.
    quadratic : ndarray of shape (m,)
        Generalised sum of squares ``r'H^-1 r``.
    trace, form : ndarray of shape (m, effects)
        ``tr(P Z_i Z_i')`` and ``y'P Z_i Z_i' P y``: the parts of the gradient.
    """

    log_det: Floats
    quadratic: Floats
    trace: Floats
    form: Floats


@dataclass(frozen=True)
class MixedFit:
    """Estimates of a mixed model.

    Parameters
    ----------
    variances : dict of str to float
        Each random effect's and the residual's (key ``residual``).
    log_likelihood : float
        Restricted where `restricted`; with all constants.
    means, mean_errors : ndarray of shape (fixed groups,)
        Means of the fixed groups and their standard errors (variances taken as known).
    restricted : bool
    """

    variances: dict[str, float]
    log_likelihood: float
    means: Floats
    mean_errors: Floats
    restricted: bool


class MixedModel:
    """A linear mixed model of one list of values.

    Parameters
    ----------
    values : ndarray of shape (n,)
    fixed : ndarray of int, shape (n,)
        Group with a mean of its own, 0..p-1, each present.
    random : mapping of str to ndarray of int, shape (n,)
        Groups with an effect of their own, 0..levels-1, each present.

    Attributes
    ----------
    names : tuple of str
        The random effects.
    pure : int
        Degrees of freedom of the residual that no effect touches.
    pure_sum : float
        Its sum of squares.

    Notes
    -----
    The values are turned once onto the span of all effects; what is left over enters through
    its sum of squares alone. Work then grows with the number of groups, not of measurements.
    """

    def __init__(self, values: Floats, fixed: Labels, random: Mapping[str, Labels]) -> None:
        self.names = tuple(random)
        self.count = len(values)
        self.fixed = int(fixed.max()) + 1
        self.centre = float(np.mean(values))
        means = _indicator(fixed)
        effects = [_indicator(labels) for labels in random.values()]
        basis = _basis(np.hstack([means, *effects]))
        centred = np.asarray(values, dtype=np.float64) - self.centre
        self._y = basis.T @ centred
        self.pure = self.count - basis.shape[1]
        left = centred - basis @ self._y
        self.pure_sum = float(np.sum(left**2)) if self.pure else 0.0
        self._x = basis.T @ means
        self._z = [basis.T @ effect for effect in effects]
        # What is free of the fixed means, and |X'X|, by which the likelihood of `contrasts`
        # differs from the restricted one as most programs state it.
        contrasts = _complement(self._x)
        self._own_y = contrasts.T @ self._y
        self._own_z = [contrasts.T @ z for z in self._z]
        self._own_outer = _outer(self._own_z, contrasts.shape[1])
        self._all_outer = _outer(self._z, basis.shape[1])
        self._log_means = float(np.sum(np.log(np.bincount(fixed))))

    def degrees(self, restricted: bool = True) -> int:
        """Give the number of squares in the likelihood: n, less the means where restricted."""
        return self.count - self.fixed if restricted else self.count

    @property
    def size(self) -> int:
        """Order of the matrices that the restricted likelihood is worked out with."""
        return len(self._own_y)

    @property
    def varies(self) -> bool:
        """Whether any value differs from its group's mean."""
        return bool(np.sum(self._own_y**2) + self.pure_sum > 0.0)

    @property
    def coarse(self) -> bool:
        """Whether the values agree to the last digit wherever only noise could part them.

        No continuous reading does: it was copied, or read too coarsely to show its noise.
        """
        return self.pure > 0 and self.pure_sum <= 1e-20 * float(np.sum(self._own_y**2))

    def comparisons(self, name: str, given: tuple[str, ...] = ()) -> int:
        """Count independent comparisons between an effect's groups.

        Parameters
        ----------
        name : str
            The random effect.
        given : tuple of str
            Effects that the comparisons must be free of; the fixed means always are.
        """
        without = [self._x, *(self._z[self.names.index(each)] for each in given)]
        both = [*without, self._z[self.names.index(name)]]
        return _rank(np.hstack(both)) - _rank(np.hstack(without))

    def tied(self, name: str) -> npt.NDArray[np.bool_]:
        """Tell which groups of an effect can be compared with another, shape (levels,)."""
        own = self._own_z[self.names.index(name)]
        return np.asarray(np.sum(own**2, axis=0) > 1e-12)

    def pieces(self, ratios: Floats, restricted: bool = True) -> Pieces:
        """Take the likelihood apart at some variance ratios.

        Parameters
        ----------
        ratios : ndarray of shape (m, effects)
            Variance of each effect over the residual's.
        restricted : bool
        """
        half, log_det = _whiten(ratios, self._own_outer)
        y = half @ self._own_y
        score = (np.swapaxes(half, 1, 2) @ y[:, :, None])[:, :, 0]
        quadratic = np.sum(y**2, axis=1) + self.pure_sum
        form = np.array([np.sum((score @ o) * score, axis=1) for o in self._own_outer])
        outer = self._own_outer
        if restricted:
            log_det = log_det + self._log_means
        else:
            outer = self._all_outer
            half, log_det = _whiten(ratios, outer)
        weight = np.swapaxes(half, 1, 2) @ half
        trace = np.tensordot(weight, outer, axes=([1, 2], [1, 2]))
        return Pieces(log_det, quadratic, trace, form.reshape(trace.shape[::-1]).T)

    def log_likelihood(self, variances: Mapping[str, float], restricted: bool = True) -> float:
        """Give the (restricted) log likelihood at given variances, with all constants."""
        residual = variances["residual"]
        ratios = np.array([[variances[name] / residual for name in self.names]])
        return float(self._value(self.pieces(ratios, restricted), np.log(residual), restricted)[0])

    def _value(self, pieces: Pieces, log_residual: Floats | float, restricted: bool) -> Floats:
        n = self.degrees(restricted)
        constant = n * (np.log(2.0 * np.pi) + log_residual) + pieces.log_det
        return np.asarray(-0.5 * (constant + pieces.quadratic / np.exp(log_residual)))

    def fit(self, restricted: bool = True) -> MixedFit:
        """Find the most likely variances.

        Parameters
        ----------
        restricted : bool
            By the restricted likelihood (REML), else by the plain one (ML).

        Raises
        ------
        ValueError
            If the values leave nothing to estimate the residual from.
        """
        n = self.degrees(restricted)
        if self.degrees() < 1 or not self.varies:
            raise ValueError("the values do not vary within the fixed groups")

        def target(place: Floats) -> tuple[float, Floats]:
            ratios = np.expm1(place)
            found = self.pieces(ratios[None, :], restricted)
            residual = found.quadratic[0] / n
            slope = -0.5 * (found.trace[0] - found.form[0] / residual)
            value = self._value(found, np.log(residual), restricted)[0]
            return -float(value), -slope * (1.0 + ratios)

        place = _minimise(
            target, np.log1p(self._start(restricted)), len(self.names) * [(0.0, _TOP)]
        )
        return self._finish(np.expm1(place), restricted)

    def _start(self, restricted: bool) -> Floats:
        """Give the best ratios of a coarse grid."""
        if not self.names:
            return np.zeros(0)
        mesh = np.meshgrid(*([_GRID] * len(self.names)), indexing="ij")
        nodes = np.column_stack([each.ravel() for each in mesh])
        found = self.pieces(nodes, restricted)
        residual = np.log(found.quadratic / self.degrees(restricted))
        return np.asarray(nodes[np.argmax(self._value(found, residual, restricted))])

    def _finish(self, ratios: Floats, restricted: bool) -> MixedFit:
        found = self.pieces(ratios[None, :], restricted)
        residual = float(found.quadratic[0]) / self.degrees(restricted)
        half = _whiten(ratios[None, :], self._all_outer)[0][0]
        inverse = np.linalg.inv((half @ self._x).T @ (half @ self._x))
        means = inverse @ (half @ self._x).T @ (half @ self._y)
        variances = dict(zip(self.names, (ratios * residual).tolist(), strict=True))
        return MixedFit(
            {**variances, "residual": residual},
            float(self._value(found, np.log(residual), restricted)[0]),
            means + self.centre,
            np.sqrt(residual * np.diagonal(inverse)),
            restricted,
        )

    def profile(self, name: str, variance: float, start: Mapping[str, float]) -> float:
        """Give the restricted log likelihood with one variance held, the others at their best.

        Parameters
        ----------
        name : str
            A random effect, or ``residual``.
        variance : float
            Where it is held; at least 0, above 0 for the residual.
        start : mapping of str to float
            Variances from which to look, such as those of `fit`.
        """
        n = self.degrees()
        held = self.names.index(name) if name in self.names else None
        free = [place for place in range(len(self.names)) if place != held]
        ratios = np.zeros(len(self.names))

        def target(point: Floats) -> tuple[float, Floats]:
            log_residual = np.log(variance) if held is None else point[-1]
            ratios[free] = np.expm1(point[: len(free)])
            if held is not None:
                ratios[held] = variance / np.exp(log_residual)
            found = self.pieces(ratios[None, :])
            value = self._value(found, log_residual, True)[0]
            slope = -0.5 * (found.trace[0] - found.form[0] / np.exp(log_residual))
            by_place = slope[free] * (1.0 + ratios[free])
            if held is None:
                return -float(value), -by_place
            by_residual = -0.5 * (n - found.quadratic[0] / np.exp(log_residual))
            return -float(value), -np.append(by_place, by_residual - slope[held] * ratios[held])

        residual = variance if held is None else start["residual"]
        first = [np.log1p(start[self.names[place]] / residual) for place in free]
        bounds = [(0.0, _TOP)] * len(free)
        if held is not None:
            first.append(np.log(residual))
            bounds.append(self._room(variance))
        point = _minimise(target, np.clip(first, *np.array(bounds).reshape(-1, 2).T), bounds)
        return -target(point)[0]

    def _room(self, held: float) -> tuple[float, float]:
        """Give ends for the logarithm of the residual variance while an effect's is held.

        Wide enough for any table, and narrow enough that nothing overflows.
        """
        total = np.log((np.sum(self._own_y**2) + self.pure_sum) / self.degrees())
        low, high = total - 60.0, total + 10.0
        if held > 0:
            low = max(low, np.log(held) - _TOP)
        return float(low), float(max(high, low + 1.0))

    def information(self, variances: Mapping[str, float]) -> Floats:
        """Give the expected information about the variances, residual last.

        Returns
        -------
        ndarray of shape (effects + 1, effects + 1)
            ``tr(P V_i P V_j) / 2``.
        """
        residual = variances["residual"]
        ratios = np.array([[variances[name] / residual for name in self.names]])
        half = _whiten(ratios, self._own_outer)[0][0]
        weight = half.T @ half / residual
        parts = [weight @ outer for outer in self._own_outer] + [weight]
        found = np.array([[0.5 * np.sum(a * b.T) for b in parts] for a in parts])
        found[-1, -1] += 0.5 * self.pure / residual**2
        return found

    def effects(
        self, name: str, ratios: Floats, contrasts: Floats | None = None
    ) -> tuple[Floats, Floats]:
        """Predict a random effect, or differences between its groups, at given ratios.

        Parameters
        ----------
        name : str
        ratios : ndarray of shape (m, effects)
        contrasts : ndarray of shape (k, levels), optional
            Weights of the groups in each difference; each group by itself if not given.

        Returns
        -------
        mean, variance : ndarray of shape (m, k)
            Best linear unbiased predictors and the variance of their error, the latter in
            units of the residual variance (Robinson 1991, Statistical Science 6(1)).
        """
        place = self.names.index(name)
        half, _ = _whiten(ratios, self._own_outer)
        weights = np.eye(self._own_z[place].shape[1]) if contrasts is None else contrasts
        z = half @ (self._own_z[place] @ weights.T)
        y = (half @ self._own_y)[:, :, None]
        ratio = ratios[:, place, None]
        mean = ratio * (np.swapaxes(z, 1, 2) @ y)[:, :, 0]
        own = np.sum(weights**2, axis=1)
        return mean, ratio * own - ratio**2 * np.sum(z**2, axis=1)


def _indicator(labels: Labels) -> Floats:
    """Give one column a group, 1 where a row belongs to it."""
    return np.asarray(labels[:, None] == np.arange(labels.max() + 1), dtype=np.float64)


def _whiten(ratios: Floats, outer: Floats) -> tuple[Floats, Floats]:
    """Give L^-1 and ln|H| of ``H = I + sum ratio_i outer_i = LL'``, each once a row of ratios."""
    size = outer.shape[1]
    total = np.eye(size) + np.tensordot(ratios, outer, axes=1)
    factor = np.linalg.cholesky(total)
    log_det = 2.0 * np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    return np.linalg.inv(factor), log_det


def _outer(effects: list[Floats], size: int) -> Floats:
    """Give ``Z Z'`` of each effect, shape (effects, size, size)."""
    return np.array([z @ z.T for z in effects]).reshape(len(effects), size, size)


def _complement(matrix: Floats) -> Floats:
    """Give an orthonormal basis of what is orthogonal to the columns (of full rank)."""
    return np.asarray(np.linalg.qr(matrix, mode="complete")[0][:, matrix.shape[1] :])


def _basis(matrix: Floats) -> Floats:
    """Give an orthonormal basis of the columns' span."""
    left, values, _ = np.linalg.svd(matrix, full_matrices=False)
    return np.asarray(left[:, values > 1e-9 * values[0]])


def _rank(matrix: Floats) -> int:
    return int(np.linalg.matrix_rank(matrix, tol=1e-8))


def _minimise(target: Target, start: Floats, bounds: list[tuple[float, float]]) -> Floats:
    """Minimise with bounds to the precision that double numbers allow."""
    if not len(start):
        return start
    found = optimize.minimize(
        target,
        start,
        jac=True,
        method="L-BFGS-B",
        bounds=bounds,
        options={"ftol": 1e-15, "gtol": 1e-9, "maxiter": 500},
    )
    return np.asarray(found.x, dtype=np.float64)
