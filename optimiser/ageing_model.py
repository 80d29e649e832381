"""How one metric of the kept cones changes with age: a mixed model, averaged over its unknowns.

``y = level of the cone + (mean drift + the cone's own) law(t) + climate + session offset +
noise``, the climate's straight lines (`Kept.beside`) the same for all cones and next to free.
Levels are left free, one a cone: cones differ by recipe, and what older cones read otherwise than
younger ones tells nothing of ageing. Drifts and session offsets are normal, their variances over
the noise's unknown. Laird & Ware (1982), Biometrics 38(4); the restricted likelihood of Patterson
& Thompson (1971), Biometrika 58(3), with the noise variance integrated out (prior 1/s2).

Ratios of standard deviations have wide Cauchy priors on their logarithm, ours. That of the drifts
is nearly flat and leans a little to large spreads: with a flat one the 90 % interval of the mean
drift of three cones that age very differently held 78 % of simulated truths, of two cones 87 %.
Laws are equally likely beforehand. All of it is summed over a grid.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy import special

from optimiser.ageing_laws import LAWS, Point, Span, curve, law_points, shape_points
from optimiser.ageing_rows import Kept

__all__ = ["AgeModel", "Drawn", "Solved", "solve"]

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.intp]

# Of the Cauchy priors of the logarithms of both ratios: drifts, sessions.
_MIDDLE, _WIDTH, _LEAN = 1.0, np.array([8.0, 3.0]), np.array([0.25, 0.0])
_LEAST, _MOST = 0.02, 1e3  # ratios of standard deviations that are tried
_ENDS = np.tile(np.log([_LEAST, _MOST]), (2, 1))
_ROUGH, _COARSE, _FINE = 7, 12, 8  # nodes of either ratio
_NEAR = 10.0  # natural logarithms below the best: beyond, a node has no weight
_FREE = 1e-6  # prior precision of a climate's effect, so that some left-out part can lack it


@dataclass(frozen=True)
class Solved:
    """The linear model at some variance ratios, all under one law.

    Parameters
    ----------
    log_evidence : ndarray of shape (m,)
        Logarithm of the restricted likelihood without its constants, noise variance integrated.
    precision : ndarray of shape (m, k, k)
        Of the coefficients, in units of one over the noise variance: mean drift, each of
        `Kept.beside`, each cone's own drift, each session's offset, the factor of a covariate
        if there is one.
    mean : ndarray of shape (m, k)
    quadratic : ndarray of shape (m,)
        Generalised sum of squares.
    degrees : int
        Of the noise variance.
    """

    log_evidence: Floats
    precision: Floats
    mean: Floats
    quadratic: Floats
    degrees: int


def solve(kept: Kept, law: Floats, ratios: Floats, *, covariate: Floats | None = None) -> Solved:
    """Solve the linear model under one law.

    Parameters
    ----------
    kept : Kept
    law : ndarray of shape (n,)
        The law at each measurement.
    ratios : ndarray of shape (m, 2)
        Standard deviations of cones' own drifts and of sessions over that of the noise.
    covariate : ndarray of shape (cones,), optional
        What the drift may also follow; its factor is drawn towards 0 as cones' own drifts are.
    """
    within = _Within(kept)
    own = within.less_mean(law)
    beside = within.beside
    drifts = own[:, None] * within.member
    offsets = within.sessions if kept.shared else np.zeros((len(own), 0))
    extra = np.zeros((len(own), 0)) if covariate is None else (own * covariate[kept.cone])[:, None]
    design = np.hstack([own[:, None], beside, drifts, offsets, extra])
    values = within.less_mean(kept.values)
    spread, session = ratios[:, :1] ** 2, ratios[:, 1:] ** 2
    prior = np.hstack(
        [
            np.full((len(ratios), beside.shape[1]), 1.0 / _FREE),
            np.repeat(spread, drifts.shape[1], axis=1),
            np.repeat(session, offsets.shape[1], axis=1),
            np.repeat(spread, extra.shape[1], axis=1),
        ]
    )
    size = design.shape[1]
    precision = np.broadcast_to(design.T @ design, (len(ratios), size, size)).copy()
    place = np.arange(1, size)
    precision[:, place, place] += 1.0 / prior
    side = design.T @ values
    factor = np.linalg.cholesky(precision)
    half = np.linalg.solve(factor, np.broadcast_to(side[:, None], (len(ratios), size, 1)))
    mean = np.linalg.solve(np.swapaxes(factor, 1, 2), half)[:, :, 0]
    total = float(values @ values)
    quadratic = np.maximum(total - np.sum(half[:, :, 0] ** 2, axis=1), 1e-12 * total + 1e-300)
    degrees = len(values) - len(np.unique(kept.cone)) - 1 - beside.shape[1]
    log_det = 2.0 * np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    evidence = -0.5 * (log_det + np.log(prior).sum(axis=1) + degrees * np.log(quadratic))
    return Solved(evidence, precision, np.asarray(mean), np.asarray(quadratic), degrees)


class _Within:
    """Columns less their mean within each cone, which frees them of the cones' levels."""

    def __init__(self, kept: Kept) -> None:
        self.member = np.asarray(kept.cone[:, None] == np.arange(len(kept.cones)), dtype=float)
        self.count = np.maximum(self.member.sum(axis=0), 1.0)
        sessions = kept.session[:, None] == np.arange(len(kept.sessions))
        self.means = self.member.T @ sessions / self.count[:, None]
        self.sessions = sessions - self.means[kept.cone]
        self._cone = kept.cone
        columns = [each.values for each in kept.beside]
        beside = np.column_stack(columns) if columns else np.zeros((len(kept), 0))
        self.beside_means = self.mean(beside.T).T
        self.beside = beside - self.beside_means[kept.cone]

    def mean(self, column: Floats) -> Floats:
        """Give each cone's mean; leading axes are kept."""
        return np.asarray(column @ self.member / self.count)

    def less_mean(self, column: Floats) -> Floats:
        """Take each cone's mean out."""
        return np.asarray(column - self.mean(column)[self._cone])


@dataclass(frozen=True)
class Drawn:
    """Drawn ways in which the kept cones may age.

    Parameters
    ----------
    law, shape : ndarray of shape (draws,)
        Place in `LAWS`; t0 or tau.
    level, drift : ndarray of shape (draws, cones)
        Each cone's value at the first time; its change from there to the longest.
    mean_drift, noise, session : ndarray of shape (draws,)
        The mean drift over cones; standard deviations of noise and of sessions.
    span : Span
    spread : ndarray of shape (draws,)
        Standard deviation of cones' own drifts.
    beside : ndarray of shape (draws, climates)
        Effect of one standard deviation of each of `Kept.beside`.
    """

    law: Labels
    shape: Floats
    level: Floats
    drift: Floats
    mean_drift: Floats
    noise: Floats
    session: Floats
    span: Span
    spread: Floats = field(default_factory=lambda: np.zeros(0))
    beside: Floats = field(default_factory=lambda: np.zeros((0, 0)))

    def along(self, times: npt.ArrayLike) -> Floats:
        """Evaluate the drawn laws, shape (draws, times)."""
        ahead = np.atleast_1d(np.asarray(times, dtype=np.float64))
        return curve(self.law[:, None], self.shape[:, None], ahead, self.span)

    def values(self, cone: int, times: npt.ArrayLike) -> Floats:
        """Give one cone's own value, free of sessions and noise, shape (draws, times).

        In the mean climate of the measurements.
        """
        return np.asarray(
            self.level[:, cone, None] + self.drift[:, cone, None] * self.along(times)
        )


class AgeModel:
    """The model of one metric.

    Parameters
    ----------
    kept : Kept
        With at least one degree of freedom: more measurements than cones, one, and one for each
        of `Kept.beside`.
    """

    def __init__(self, kept: Kept) -> None:
        self.kept = kept

    @cached_property
    def points(self) -> list[Point]:
        """The laws tried, time constants close together where the weight lies."""
        coarse = law_points(self.kept.span, straight=self.kept.straight)
        if self.kept.straight:
            return coarse
        ratios = _grid(_ENDS, _ROUGH, self.kept.shared)
        weight = np.array([self._log_weight(self.kept, each, ratios).max() for each in coarse])
        found = coarse[:1]
        for law in (1, 2):
            place = np.array([each for each, point in enumerate(coarse) if point.law == law])
            here = place[weight[place] > weight[place].max() - _NEAR]
            first, last = max(here.min() - 1, place[0]), min(here.max() + 1, place[-1])
            ends = coarse[first].shape, coarse[last].shape
            found += shape_points(law, *ends, self.kept.span)
        return found

    @cached_property
    def ratios(self) -> Floats:
        """Where the weight lies, shape (m, 2): standard deviations over the noise's."""
        coarse = _grid(_ENDS, _COARSE, self.kept.shared)
        found = np.stack([self._log_weight(self.kept, each, coarse) for each in self.points[::3]])
        here = np.log(coarse[found.max(axis=0) > found.max() - _NEAR])
        step = np.log(_MOST / _LEAST) / (_COARSE - 1)
        ends = np.column_stack([here.min(axis=0) - step, here.max(axis=0) + step])
        return _grid(np.clip(ends, _ENDS[:, 0], _ENDS[:, 1]), _FINE, self.kept.shared)

    def _log_weight(self, kept: Kept, point: Point, ratios: Floats, **more: Floats) -> Floats:
        law = curve(point.law, point.shape, kept.times, kept.span)
        found = solve(kept, law, ratios, **more).log_evidence
        return found + _log_prior(ratios, kept.shared) + point.log_prior

    def log_weight(self, point: Point, *, covariate: Floats) -> Floats:
        """Weigh the grid of `ratios` under one law, a covariate given; see `solve`."""
        return self._log_weight(self.kept, point, self.ratios, covariate=covariate)

    def log_evidence(self, kept: Kept | None = None) -> Floats:
        """Give the logarithm of each law's evidence, without a constant, shape (laws,).

        Parameters
        ----------
        kept : Kept, optional
            Some of the measurements alone.
        """
        part = self.kept if kept is None else kept
        found = np.stack([self._log_weight(part, each, self.ratios) for each in self.points])
        laws = np.array([each.law for each in self.points])
        return np.array(
            [special.logsumexp(found[laws == law]) for law in range(len(LAWS)) if law in laws]
        )

    @cached_property
    def weights(self) -> Floats:
        """Probability of each law, shape (laws,)."""
        return np.asarray(special.softmax(self.log_evidence()))

    def draw(self, count: int, rng: np.random.Generator, *, even: bool = False) -> Drawn:
        """Draw ways of ageing.

        Parameters
        ----------
        count : int
        rng : numpy.random.Generator
        even : bool
            Give each law the same share, whatever the data say: far beyond the longest time
            seen they say little about it.
        """
        log_weight = np.stack(
            [self._log_weight(self.kept, each, self.ratios) for each in self.points]
        )
        laws = np.array([each.law for each in self.points])
        if even:
            for law in np.unique(laws):
                log_weight[laws == law] -= special.logsumexp(log_weight[laws == law])
        chance = special.softmax(log_weight.ravel())
        chosen = np.sort(rng.choice(len(chance), size=count, p=chance))
        return self._draws(chosen, rng)

    def _draws(self, chosen: Labels, rng: np.random.Generator) -> Drawn:
        """Draw coefficients at the chosen nodes of the grid."""
        point, place = np.divmod(chosen, len(self.ratios))
        kept, within = self.kept, _Within(self.kept)
        count, cones = len(chosen), len(kept.cones)
        first = 1 + len(kept.beside)
        last = first + cones
        coefficients = np.empty((count, last + kept.shared * len(kept.sessions)))
        noise, means = np.empty(count), np.empty((count, cones))
        for each in np.unique(point):
            law = curve(self.points[each].law, self.points[each].shape, kept.times, kept.span)
            here = point == each
            nodes, back = np.unique(place[here], return_inverse=True)
            found = solve(kept, law, self.ratios[nodes])
            square = found.quadratic[back] / rng.chisquare(found.degrees, size=here.sum())
            noise[here] = np.sqrt(square)
            upper = np.swapaxes(np.linalg.cholesky(found.precision), 1, 2)
            normal = rng.standard_normal((here.sum(), coefficients.shape[1]))
            for node in range(len(nodes)):
                own = back == node
                normal[own] = np.linalg.solve(upper[node], normal[own].T).T
            coefficients[here] = found.mean[back] + noise[here, None] * normal
            means[here] = within.mean(law)
        drift = coefficients[:, :1] + coefficients[:, first:last]
        level = within.mean(kept.values) - drift * means
        level -= coefficients[:, 1:first] @ within.beside_means.T
        if kept.shared:
            level -= coefficients[:, last:] @ within.means.T
        level += noise[:, None] / np.sqrt(within.count) * rng.standard_normal((count, cones))
        return Drawn(
            law=np.array([self.points[each].law for each in point], dtype=np.intp),
            shape=np.array([self.points[each].shape for each in point]),
            level=level,
            drift=drift,
            mean_drift=coefficients[:, 0],
            noise=noise,
            session=noise * self.ratios[place, 1] * kept.shared,
            span=kept.span,
            spread=noise * self.ratios[place, 0],
            beside=coefficients[:, 1:first],
        )


def _grid(ends: Floats, nodes: int, both: bool) -> Floats:
    """Give ratios evenly spaced in their logarithms, shape (m, 2); the second 1 where idle."""
    first, second = (np.linspace(low, high, nodes) for low, high in ends.tolist())
    second = second if both else np.zeros(1)
    mesh = np.meshgrid(first, second, indexing="ij")
    return np.asarray(np.exp(np.column_stack([each.ravel() for each in mesh])))


def _log_prior(ratios: Floats, both: bool) -> Floats:
    found = _LEAN * np.log(ratios) - np.log1p(((np.log(ratios) - _MIDDLE) / _WIDTH) ** 2)
    return np.asarray(found.sum(axis=1) if both else found[:, 0])
