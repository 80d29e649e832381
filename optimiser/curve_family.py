"""One family of curves: what is learnt of it, and curves drawn of a recipe."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy import special, stats

from optimiser.curve_alignment import Warp, align, best_warp, registered
from optimiser.curve_bundle import Bundle, Channel
from optimiser.curve_components import Components, filled, left_out, principal
from optimiser.encoding import Encoding, Points
from optimiser.process import EnsembleProcess

__all__ = ["Family", "Foretold", "band", "learn_family"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

_MOST = 5  # components
_DRAWS = 256
_ENDS = np.array([0.05, 0.95])
_REACH = 0.95  # octaves: a curve moved by one would fold over at the onset
_PLAIN = 4  # components of curves as they stand, against which registering has to win


@dataclass(frozen=True)
class Foretold:
    """What the models foretell of one recipe's parts, a hyperparameter draw each.

    Parameters
    ----------
    mean, variance : ndarray of shape (parts, draws)
        Of the shift, if there is one, then of each score; a new measurement's, in dB rms.
    components : Components
        What the scores belong to.
    own : int
        Place of the cone whose own rest is not used; -1 for none.
    """

    mean: Floats
    variance: Floats
    components: Components
    own: int = -1


@dataclass
class Family:
    """What has been learnt of one family of curves.

    Parameters
    ----------
    bundle : Bundle
        The curves as measured.
    cones : ndarray of int, shape (n,)
        Cone of each curve.
    warp : Warp or None
        How they are registered; None where that does not help.
    shifts : ndarray of shape (n,)
        Octaves.
    wide : list of Channel
        The registered grids.
    values : ndarray of shape (n, points)
        The registered curves, gaps filled.
    components : Components
        Of these.
    processes : list of EnsembleProcess
        Of the shift, if there is one, then of each score.
    rests : ndarray of shape (cones, points)
        What components of all other cones leave of each cone's first curve.
    firsts : ndarray of int, shape (cones,)
        The first curve of each cone.
    """

    bundle: Bundle
    cones: Ints
    warp: Warp | None
    shifts: Floats
    wide: list[Channel]
    values: Floats
    components: Components
    processes: list[EnsembleProcess]
    rests: Floats
    firsts: Ints
    seed: int
    _normal: Floats = field(init=False, repr=False)
    _turn: Ints = field(init=False, repr=False)

    def __post_init__(self) -> None:
        size = len(self.processes) + 1
        sobol = stats.qmc.Sobol(size, rng=np.random.default_rng([self.seed, 41]))
        self._normal = special.ndtri(np.clip(sobol.random(_DRAWS), 1e-9, 1 - 1e-9))
        self._turn = np.random.default_rng([self.seed, 43]).permutation(_DRAWS)

    def foretell(self, points: Points) -> Foretold:
        """Foretell a new measurement of a new cone in a new session, of one recipe."""
        mean, variance = [], []
        for process in self.processes:
            level, spread = process.predict(points)
            mean.append(level[:, 0])
            variance.append(spread[:, 0] + process.novelty_ * process.scale_**2)
        return Foretold(_stacked(mean), _stacked(variance), self.components)

    def without(self) -> list[Foretold]:
        """Foretell each cone's first curve from all other cones, hyperparameters kept.

        Notes
        -----
        Components are those of the other cones, so all scores change with each cone. What a
        process foretells of left-out rows is linear in the others' outputs: with ``P = K^-1``
        it is ``y_b - P_bb^-1 (P y)_b``, whatever stands in ``y_b`` (Rasmussen & Williams 2006,
        5.4.2).
        """
        return [self._without(place, row) for place, row in enumerate(self.firsts)]

    def _without(self, place: int, row: np.intp) -> Foretold:
        own = self.cones == self.cones[row]
        weights = 1.0 / np.bincount(self.cones)[self.cones]
        count = len(self.components.shapes)
        others = principal(self.values[~own], weights[~own], count)
        signs = np.sign(
            np.sum(others.shapes * self.components.shapes[: len(others.shapes)], axis=1)
        )
        others = replace(others, shapes=np.where(signs < 0, -1.0, 1.0)[:, None] * others.shapes)
        outputs = [self.shifts] if self.warp is not None else []
        outputs += list(others.scores(self.values).T)
        first = int(np.flatnonzero(np.flatnonzero(own) == row)[0])
        told = [
            _left_out(process, each, own, first)
            # Without it the others may span less than with it.
            for process, each in zip(self.processes, outputs, strict=False)
        ]
        mean, variance = ([each[k] for each in told] for k in (0, 1))
        return Foretold(_stacked(mean), _stacked(variance), others, place)

    def again(self, told: Foretold) -> Foretold:
        """Give how cones of one recipe would differ were the recipe itself known."""
        novelty = [process.novelty_ * process.scale_**2 for process in self.processes]
        middle = np.repeat(told.mean.mean(axis=1, keepdims=True), told.mean.shape[1], axis=1)
        return Foretold(middle, _stacked(novelty), told.components, told.own)

    def middle(self, told: Foretold) -> list[Floats]:
        """Give the curve whose shift and scores are all as expected, one array a channel."""
        parts = told.mean.mean(axis=1)
        curve = told.components.curves(parts[None, self.warp is not None :])
        return [each[0] for each in self._as_measured(curve, parts[:1])]

    def draw(self, told: Foretold, count: int = _DRAWS) -> list[Floats]:
        """Draw curves, an array (count, points) a channel, in dB."""
        normal = self._normal[:count]
        draws = told.mean.shape[1]
        # A run of a Sobol sequence is spread by itself; every so many-th of its points is not.
        which = np.arange(count) * draws // count
        # A column for the shift even where nothing is registered or learnt.
        parts = np.zeros((count, max(len(self.processes), 1)))
        for place in range(len(told.mean)):
            sd = np.sqrt(told.variance[place, which])
            parts[:, place] = told.mean[place, which] + sd * normal[:, place]
        others = np.flatnonzero(np.arange(len(self.rests)) != told.own)
        rests = self.rests[others[self._turn[:count] % len(others)]]
        # As few rests as there are cones tell their spread no better than that many values do.
        factor = special.stdtrit(max(len(others) - 1, 1), special.ndtr(normal[:, -1]))
        first = int(self.warp is not None)
        scores = parts[:, first : first + len(told.components.shapes)]
        curves = told.components.curves(scores)
        return self._as_measured(curves + factor[:, None] * rests, parts[:, 0])

    def _as_measured(self, curves: Floats, shifts: Floats) -> list[Floats]:
        """Take registered curves back to where they would be measured."""
        ends = np.cumsum([len(wide.place) for wide in self.wide])
        parts = np.split(curves, ends[:-1], axis=1)
        found = []
        for wide, one, part in zip(self.wide, self.bundle.channels, parts, strict=True):
            if self.warp is not None:
                moved = self.warp(wide.place, np.clip(shifts, -_REACH, _REACH)[:, None])
                rows = zip(moved, part, strict=True)
                part = np.array([np.interp(one.place, at, row) for at, row in rows])
            found.append(np.maximum(part, one.floor))
        return found


def band(draws: Floats) -> tuple[Floats, Floats, Floats]:
    """Give mean and ends of the 90 % band of drawn curves, (draws, points) to (points,) each."""
    ordered = np.sort(draws, axis=0)
    at = _ENDS * (len(draws) - 1)
    below = np.floor(at).astype(int)
    share = (at - below)[:, None]
    low, high = (1 - share) * ordered[below] + share * ordered[below + 1]
    return draws.mean(axis=0), low, high


def _left_out(
    process: EnsembleProcess, outputs: Floats, own: npt.NDArray[np.bool_], first: int
) -> tuple[Floats, Floats]:
    """Foretell the first of the rows left out from the outputs of all others, a draw each."""
    rows = np.flatnonzero(own)
    standard = (outputs - process.centre_) / process.scale_
    part = process.half_[:, :, rows]
    block = np.linalg.inv(np.swapaxes(part, 1, 2) @ part)
    pulled = np.einsum("sij,si->sj", part, process.half_ @ standard)
    mean = standard[rows] - np.einsum("sij,sj->si", block, pulled)
    variance = process.scale_**2 * block[:, first, first]
    return process.centre_ + process.scale_ * mean[:, first], np.asarray(variance)


def _stacked(parts: Sequence[Floats]) -> Floats:
    return np.array(parts) if parts else np.zeros((0, 1))


def learn_family(
    bundle: Bundle, encoding: Encoding, points: Points, labels: tuple[Ints, Ints, Ints], seed: int
) -> Family:
    """Register the curves if that helps, find components and learn the score of each.

    Parameters
    ----------
    bundle : Bundle
        n curves.
    encoding : Encoding
    points : Points
        Their recipes.
    labels : tuple of ndarray of int, shape (n,)
        Cone, session and recipe of each.
    seed : int

    Returns
    -------
    Family

    Notes
    -----
    Registering costs a number a curve, as a component does. It is used where shift and three
    components leave less of left-out cones' curves than four components of curves as they are.
    """
    cones = labels[0]
    weights = 1.0 / np.bincount(cones)[cones]
    count = min(_MOST, len(np.unique(cones)) - 2)
    plain = _Registered(None, np.zeros(len(cones)), bundle.channels, bundle.values)
    best = plain
    if count > 1:
        warp = best_warp(bundle, weights)
        shifts = align(bundle, weights, warp)
        moved = _Registered(warp, shifts, *registered(bundle, warp, shifts))
        level = min(_PLAIN, count)
        if moved.rest(weights, cones, level - 1) < plain.rest(weights, cones, level):
            best = moved
    whole = filled(best.values, weights, count)
    scores = principal(whole, weights, count).scores(whole)
    told = [best.shifts] if best.warp is not None else []
    shift = [EnsembleProcess(encoding, seed=seed).fit(points, each, *labels) for each in told]
    learnt = [EnsembleProcess(encoding, seed=seed).fit(points, each, *labels) for each in scores.T]
    kept = _worth(learnt, scores, weights)
    firsts = np.unique(cones, return_index=True)[1].astype(np.intp)
    rests = left_out(whole, weights, cones, kept)
    rests = _known_rests(rests, np.isfinite(best.values))[firsts]
    return Family(
        bundle, cones, best.warp, best.shifts, best.channels, whole,
        principal(whole, weights, kept), shift + learnt[:kept], rests, firsts, seed,
    )  # fmt: skip


@dataclass(frozen=True)
class _Registered:
    """Curves, moved or as they are."""

    warp: Warp | None
    shifts: Floats
    channels: list[Channel]
    values: Floats

    def rest(self, weights: Floats, cones: Ints, count: int) -> float:
        """Give what components leave of left-out cones' curves, mean square where data are."""
        known = np.isfinite(self.values)
        rests = left_out(filled(self.values, weights, count), weights, cones, count)
        share = weights[:, None] * known
        return float((share * rests**2).sum() / share.sum())


def _worth(learnt: Sequence[EnsembleProcess], scores: Floats, weights: Floats) -> int:
    """Count the leading components that are foretold better than by their mean.

    Those after them are told by what is left over, whole.
    """
    share = weights / weights.sum()
    gains = []
    for process, column in zip(learnt, scores.T, strict=True):
        left = process.centre_ + process.scale_ * process.leave_out().mean.mean(axis=0)
        gains.append(float(share @ (column**2 - (column - left) ** 2)))
    total = np.concatenate([[0.0], np.cumsum(gains)])
    return int(np.argmax(total))


def _known_rests(rests: Floats, known: npt.NDArray[np.bool_]) -> Floats:
    """Put the usual size where a curve had no data; the nearest point's where none had."""
    squares = np.where(known, rests, 0.0) ** 2
    seen = known.any(axis=0)
    usual = np.sqrt(squares.sum(axis=0) / np.maximum(known.sum(axis=0), 1))
    places = np.arange(len(usual))
    return np.where(known, rests, np.interp(places, places[seen], usual[seen]))
