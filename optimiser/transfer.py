"""Learning one metric from this experiment and from an earlier one.

Two outputs with the covariance ``k(x, x') A[o, o']`` (Bonilla, Chai & Williams 2008, Multi-task
Gaussian process prediction, NeurIPS): the same kernel ``k`` over the recipe, its constant mean
included, and ``A`` 1 within an experiment and an agreement between 0 and 1 across. What the
earlier rig adds to all of its measurements is a random effect, and they may be noisier than ours.

The agreement is a hyperparameter with a posterior like all others, but it shares its length
scales with everything else, so that an earlier experiment in which other knobs matter could still
mislead. Therefore the hyperparameter sets are drawn from two models, in proportion to their
evidence: this one, and the one in which the experiments have nothing in common. A set of the
latter is one with an agreement of 0, so that predictions need not know which is which.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt
from scipy import special

from optimiser.covariance import Covariance
from optimiser.encoding import Encoding, Points
from optimiser.kernels import separations
from optimiser.posterior import Exploration, explore
from optimiser.process import EnsembleProcess, has_crossed_sessions, has_repeated_cones

__all__ = ["Agreement", "InformedProcess", "Observations", "learn_from_both"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

LEAST = 3  # own observations from which a model without the earlier experiment can be learnt
_MOST = 300  # observations that hyperparameters are learnt from
_ODDS = 4.0  # prior odds that the experiments have something in common: a person chose them
_ALIKE, _UNLIKE = 2.5, -1.0  # log lengths of the origin where climbs begin
_NOTHING = -3.0  # log length of the origin at which the agreement is 0
_ABSENT = -30.0  # logarithm of a variance that counts for nothing


class Observations(NamedTuple):
    """What was seen of one metric in one experiment.

    Parameters
    ----------
    points : Points
        n encoded recipes.
    outputs : ndarray of shape (n,)
    cones, sessions, recipes : ndarray of int, shape (n,)
        Which cone, session and recipe each observation belongs to.
    """

    points: Points
    outputs: Floats
    cones: Ints
    sessions: Ints
    recipes: Ints

    def take(self, rows: Ints) -> Observations:
        """Give some of them."""
        return Observations(
            self.points.take(rows),
            self.outputs[rows],
            self.cones[rows],
            self.sessions[rows],
            self.recipes[rows],
        )


@dataclass(frozen=True)
class Agreement:
    """How alike the earlier experiment's metric is: 1 but for an offset the same, 0 unrelated.

    Parameters
    ----------
    mean, low, high : float
        With its 90 % interval.
    """

    mean: float
    low: float
    high: float


class InformedProcess(EnsembleProcess):
    """A process that also learns from an earlier experiment's observations.

    Parameters
    ----------
    encoding : Encoding
        With the choice `ORIGIN`.
    earlier : Observations
        Of the earlier experiment, their points without `ORIGIN`.
    draws, seed : int
        As for `EnsembleProcess`.

    Attributes
    ----------
    agreement_ : Agreement
    alone_ : EnsembleProcess or None
        The process without the earlier experiment; None below 3 observations.
    informed_ : int
        How many of the hyperparameter sets take the earlier experiment into account.
    """

    def __init__(
        self, encoding: Encoding, earlier: Observations, *, draws: int = 16, seed: int = 0
    ) -> None:
        super().__init__(encoding, draws=draws, seed=seed)
        self.earlier = earlier

    def fit(
        self, points: Points, outputs: Floats, cones: Ints, sessions: Ints, recipes: Ints
    ) -> InformedProcess:
        """Learn from this experiment's observations, none at all included, and the earlier's."""
        own = Observations(points, outputs, cones, sessions, recipes)
        self.alone_ = self._process(own) if len(outputs) >= LEAST else None
        past = self._process(self.earlier)
        basis = self.alone_ or past
        self.centre_, self.scale_ = basis.centre_, basis.scale_
        self.cones_ = cones
        self.wild_ = self.alone_.wild_ if self.alone_ else np.zeros(len(outputs), dtype=bool)
        self.points_ = points.of_experiment(0) + self.earlier.points.of_experiment(1)
        every = np.concatenate([outputs, self.earlier.outputs])
        self.outputs_ = (every - self.centre_) / self.scale_
        self._lesson = np.arange(len(every))
        covariance = self._covariance_of(own, past)
        self.covariance_ = covariance
        starts = self._starts(covariance, past)
        self.exploration_ = explore(covariance, self.outputs_, self.seed, starts)
        share = self._share(past)
        self.agreement_ = _agreement(self.exploration_, covariance.inputs - 1, share)
        self.informed_ = round(share * self.draws)
        sets = self.exploration_.draw(self.informed_, self.seed)
        if self.alone_ is not None:
            apart = self.alone_.exploration_.draw(self.draws - self.informed_, self.seed)
            sets = np.vstack([sets, self._mapped(apart, self.alone_, _NOTHING)])
        self._condition(covariance, sets)
        return self

    def _process(self, seen: Observations) -> EnsembleProcess:
        """Learn one experiment by itself."""
        return EnsembleProcess(self.encoding.base, draws=self.draws, seed=self.seed).fit(*seen)

    def _covariance_of(self, own: Observations, past: EnsembleProcess) -> Covariance:
        """Give the joint covariance; blocks of sessions and cones where either table has them."""
        theirs, count = self.earlier, len(own.outputs)
        sessions = _joined(own.sessions, theirs.sessions)
        cones = _joined(own.cones, theirs.cones)
        self.has_session_ = has_crossed_sessions(_joined(own.recipes, theirs.recipes), sessions)
        self.has_cone_ = has_repeated_cones(cones)
        origin = self.points_.levels[:, -1]
        blocks = [
            (labels[:, None] == labels[None, :]).astype(float)
            for present, labels in ((self.has_session_, sessions), (self.has_cone_, cones))
            if present
        ]
        blocks += [np.outer(origin, origin).astype(float), np.diag(origin).astype(float)]
        inflation = np.ones(count) if self.alone_ is None else self.alone_.covariance_.inflation
        self._apart = separations(self.encoding, self.points_, self.points_)
        return Covariance(
            *self._apart,
            blocks,
            np.concatenate([inflation, past.covariance_.inflation]),
            earlier=True,
            log_unit=self._log_unit(count),
        )

    def _log_unit(self, count: int) -> float:
        """Log variance within the experiments: a few cones alone tell their spread badly."""
        parts = (self.outputs_[:count], self.outputs_[count:])
        squares = sum(float(np.sum((part - part.mean()) ** 2)) for part in parts if len(part))
        freedom = sum(max(len(part) - 1, 0) for part in parts)
        return float(np.log(squares / freedom)) if freedom and squares > 0 else 0.0

    def _mapped(self, sets: Floats, source: EnsembleProcess, origin: float) -> Floats:
        """Give one experiment's hyperparameter sets as sets of both, (m, size)."""
        count = len(self.encoding.inputs) - 1
        shift = 2.0 * np.log(source.scale_ / self.scale_)
        column = np.full((len(sets), 1), _ABSENT)
        parts = [sets[:, :count], np.full_like(column, origin), sets[:, count : count + 2] + shift]
        place = count + 2
        for here, there in (
            (self.has_session_, source.has_session_),
            (self.has_cone_, source.has_cone_),
        ):
            if here:
                parts.append(sets[:, place : place + 1] + shift if there else column)
            place += there
        return np.hstack([*parts, column, column])

    def _starts(self, covariance: Covariance, past: EnsembleProcess) -> list[Floats]:
        """Begin where either experiment alone leads to, alike and unlike, and at short lengths."""
        mean, sd = covariance.prior
        origin = covariance.inputs - 1
        starts = []
        for source, places in ((past, (_ALIKE, _UNLIKE)), (self.alone_, (_UNLIKE,))):
            if source is None:
                continue
            for place in places:
                start = self._mapped(source.exploration_.modes[0][None, :], source, place)[0]
                starts.append(np.where(start == _ABSENT, mean, start))
        short = mean - 2.5 * sd * (np.arange(len(mean)) < origin)
        return [*starts, np.where(np.arange(len(mean)) == origin, _ALIKE, mean), short]

    def _share(self, past: EnsembleProcess) -> float:
        """Give the probability that the experiments have something in common."""
        if self.alone_ is None:
            return 1.0
        # Few cones that happen to be alike must not speak for a small spread: the prior is shared.
        apart = replace(self.alone_.covariance_, log_unit=self.covariance_.log_unit)
        ours = explore(apart, self.alone_.outputs_, self.seed, self.alone_.exploration_.modes)
        theirs = past.exploration_.log_evidence
        theirs -= len(past.outputs_) * float(np.log(past.scale_ / self.scale_))
        evidence = self.exploration_.log_evidence - ours.log_evidence - theirs
        return float(special.expit(evidence + np.log(_ODDS)))

    def placed(self, points: Points) -> Points:
        """Give recipes of this experiment as the covariance takes them."""
        whole = len(self.encoding.level_counts)
        return points if points.levels.shape[1] == whole else points.of_experiment(0)

    def told_by(self, known: Points) -> Points:
        """Add the earlier experiment's recipes to the known ones."""
        theirs = self.earlier.points.of_experiment(1)
        _, first = np.unique(np.hstack([theirs.numbers, theirs.levels]), axis=0, return_index=True)
        return self.placed(known) + theirs.take(np.sort(first))

    def level(self, levels: Floats, lengths: Floats) -> Floats:
        """Covariance of the constant mean: 1 within an experiment, the agreement across."""
        return np.exp(-np.exp(-2.0 * lengths[:, -1])[:, None, None] * levels[:, :, -1])


def learn_from_both(
    encoding: Encoding, own: Observations, earlier: Observations, seed: int
) -> tuple[EnsembleProcess, Agreement]:
    """Learn from both experiments, or from ours alone where the earlier one tells nothing of it.

    Parameters
    ----------
    encoding : Encoding
    own, earlier : Observations
        The earlier one's at least 3; of more than 300 in all, only so many of them are taken.
    seed : int

    Returns
    -------
    process : EnsembleProcess
    agreement : Agreement
    """
    room = max(_MOST - len(own.outputs), 0)
    if room < len(earlier.outputs):
        rows = np.sort(np.random.default_rng(seed).permutation(len(earlier.outputs))[:room])
        earlier = earlier.take(rows)
    if room < LEAST:
        alone = EnsembleProcess(encoding, seed=seed).fit(*own)
        return alone, Agreement(0.0, 0.0, 1.0)
    process = InformedProcess(encoding.with_origin(), earlier, seed=seed).fit(*own)
    if not process.informed_ and process.alone_ is not None:
        return process.alone_, process.agreement_
    return process, process.agreement_


def _joined(own: Ints, theirs: Ints) -> Ints:
    """Give labels of both that are never the same."""
    return np.concatenate([own, theirs + (own.max() + 1 if len(own) else 0)])


def _agreement(found: Exploration, origin: int, share: float) -> Agreement:
    """Summarise the posterior of the agreement: 0 where the experiments share nothing."""
    alike = np.exp(-np.exp(-2.0 * found.proposals[:, origin]))
    values = np.append(alike, 0.0)
    weight = np.append(share * special.softmax(found.log_weight), 1.0 - share)
    order = np.argsort(values)
    below = np.cumsum(weight[order])
    low, high = values[order][np.minimum(np.searchsorted(below, (0.05, 0.95)), len(order) - 1)]
    return Agreement(float(weight @ values), float(low), float(high))
