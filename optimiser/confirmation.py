"""The run that confirms a recipe: how many cones, and what they must show.

Two things are asked of n cones. The mean of their scores must reach a threshold that a recipe no
better than a stated score would miss with probability 0.95 (the usual one-sided sample size,
NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.2.2, from memory; the spread averaged over its
posterior). And each hard limit must be kept by the cones' mean with a margin of k of their own
standard deviations, k being the exact one-sided tolerance factor: nine of ten prints keep the
limit with 95 % confidence (Hahn & Meeker 1991, Statistical Intervals; ISO 16269-6; e-Handbook
7.2.6.3; from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special, stats

from optimiser.appraisal import learnt_limit, worth
from optimiser.process import mixture_quantile
from optimiser.records.production import Confirmation, LimitProof
from optimiser.surrogate import Model

__all__ = [
    "CONFIDENCE",
    "CONTENT",
    "chance_to_prove",
    "plan_confirmation",
    "reach",
    "tolerance_factor",
]

Floats = npt.NDArray[np.float64]

CONTENT, CONFIDENCE = 0.9, 0.95
"""Share of the prints that must keep a limit, and how surely the run must show it."""
_POWER = 0.8
_LEAST, _PLAIN, _MOST = 3, 5, 20  # cones: the fewest, those of a run that decides nothing
_PRINTS = 32  # prints simulated a drawn function
_RUNS = 8  # runs simulated a drawn function


def tolerance_factor(
    count: int, content: float = CONTENT, confidence: float = CONFIDENCE
) -> float:
    """Give the one-sided tolerance factor k of a normal distribution, mean and sd unknown.

    Parameters
    ----------
    count : int
        Size of the sample, 2 or more.
    content, confidence : float
        0..1.

    Returns
    -------
    float
        ``t' / sqrt(n)`` of the noncentral t distribution with n - 1 degrees of freedom and
        noncentrality ``z sqrt(n)``.
    """
    shift = special.ndtri(content) * np.sqrt(count)
    return float(stats.nct.ppf(confidence, count - 1, shift) / np.sqrt(count))


def chance_to_prove(margin: Floats, count: int, factor: float) -> Floats:
    """Probability that a sample's mean keeps a limit by so many of its standard deviations.

    Parameters
    ----------
    margin : ndarray
        Distance of the true mean from the limit in true standard deviations, kept being positive.
    count : int
        Size of the sample.
    factor : float
    """
    # Beyond 20 standard deviations nothing changes, and an infinite one has no distribution.
    shift = np.clip(margin, -20.0, 20.0) * np.sqrt(count)
    return np.asarray(stats.nct.sf(factor * np.sqrt(count), count - 1, shift), dtype=float)


def reach(level: float, threshold: float, sds: Floats) -> float:
    """Probability that a normal mean with one of some standard errors reaches a threshold."""
    return float(special.ndtr((level - threshold) / sds).mean())


@dataclass(frozen=True)
class _Prints:
    """Simulated prints of one recipe: what a run would see if the model is right.

    `scores` has shape (functions, runs, prints), larger being better; `metrics` the same of each
    limited metric on its learnt scale. `within` and `shared` are the spreads of the score a
    hyperparameter set from print to print, and from session to session.
    """

    scores: Floats
    metrics: dict[str, Floats]
    within: Floats
    shared: Floats

    def errors(self, count: int) -> Floats:
        """Give the standard error of the mean of so many cones of one session."""
        return np.asarray(np.maximum(np.sqrt(self.within**2 / count + self.shared**2), 1e-12))


def plan_confirmation(
    model: Model, made: dict[str, Floats], rival: float, *, seed: int
) -> Confirmation:
    """Plan the run that confirms a recipe.

    Parameters
    ----------
    model : Model
        Scorable.
    made : dict of str to ndarray of shape (functions, prints)
        True values of each needed metric, over what the printer makes of the recipe.
    rival : float
        Score, larger being better, that would be no reason to change; NaN where there is none.
    seed : int

    Returns
    -------
    Confirmation
        The smallest run of 3 to 20 cones that passes in all with probability 0.8 if the model is
        right. Where none does, the smallest of 5 or more that proves the limits, its score held
        to what the recipe would miss one time in twenty; else the smallest that decides on the
        score; else 5 cones.
    """
    prints = _simulate(model, made, seed)
    levels = worth(model, made).mean(axis=1)
    margins = {metric.name: _margins(model, metric.name, prints) for metric in model.goals.limited}
    count, decides, proves = _size(prints, levels, margins, rival)
    threshold = _bar(prints, rival, count) if decides else _floor(prints, levels, count)
    proofs = [_proof(model, name, prints, each, count) for name, each in margins.items()]
    errors = prints.errors(count)
    sign = model.goals.sign
    return Confirmation(
        cones=count,
        threshold=sign * threshold,
        sd=float(np.sqrt(np.mean(prints.within**2 + prints.shared**2))),
        rival=sign * rival,
        decides=decides,
        proves=proves,
        passes=_simulated(model, prints, threshold, proofs, count),
        caught=sign * _caught(prints, threshold, count),
        fails=1.0 - reach(rival, threshold, errors) if np.isfinite(rival) else float("nan"),
        limits=proofs,
        curve=_curve(levels, rival, threshold, errors, sign),
    )


def _simulate(model: Model, made: dict[str, Floats], seed: int) -> _Prints:
    """Draw prints of the recipe: strayed settings, sessions' offsets, scatter."""
    rng = np.random.default_rng([seed, 47])
    functions, settings = next(iter(made.values())).shape
    shape = (functions, _RUNS, _PRINTS)
    chosen = rng.integers(settings, size=shape)
    learnt, with_session, values = {}, {}, {}
    for name in model.goals.needed:
        part = model.metrics[name]
        own, session = _spreads(model, name)
        each = functions // len(own)
        true = np.take_along_axis(made[name][:, None], chosen, axis=2)
        true = np.log(np.maximum(true, 1e-300)) if part.log else true
        scatter = np.repeat(own, each)[:, None, None] * rng.standard_normal(shape)
        offset = np.repeat(session, each)[:, None, None] * rng.standard_normal((*shape[:2], 1))
        values[name] = part.back(true + scatter)
        learnt[name] = true + scatter + offset
        with_session[name] = part.back(learnt[name])
    alone = worth(model, values)
    scores = worth(model, with_session)
    sets = model.metrics[model.goals.needed[0]].process.draws
    within = np.sqrt(alone.var(axis=2, ddof=1).reshape(sets, -1).mean(axis=1))
    moved = (scores - alone).mean(axis=2)
    shared = moved.reshape(sets, -1).std(axis=1)
    limited = {metric.name: learnt[metric.name] for metric in model.goals.limited}
    return _Prints(scores, limited, within, shared)


def _spreads(model: Model, name: str) -> tuple[Floats, Floats]:
    """Give the learnt scale's sd a hyperparameter set: from print to print, of a session."""
    process = model.metrics[name].process
    total = process.novelty_ * process.scale_**2
    session = max(float(total.mean()) - process.repeatability_**2, 0.0) / float(total.mean())
    return np.sqrt(total * (1 - session)), np.sqrt(total * session)


def _size(
    prints: _Prints, levels: Floats, margins: dict[str, Floats], rival: float
) -> tuple[int, bool, bool]:
    """Choose how many cones; say whether they decide on the score and prove the limits."""

    def smallest(least: int, *, decide: bool, prove: bool) -> int | None:
        asked = margins if prove else {}
        for count in range(least, _MOST + 1):
            bar = _bar(prints, rival, count) if decide else -np.inf
            if _power(prints, levels, asked, bar, count) >= _POWER:
                return count
        return None

    known = bool(np.isfinite(rival))
    for least, decide, prove in (
        (_LEAST, known, True),
        (_PLAIN, False, True),
        (_LEAST, known, False),
    ):
        found = smallest(least, decide=decide, prove=prove)
        if found is not None:
            return max(found, _LEAST if decide else _PLAIN), decide, prove
    return _PLAIN, False, False


def _power(
    prints: _Prints, levels: Floats, margins: dict[str, Floats], bar: float, count: int
) -> float:
    """Probability that a run of some size passes, score and limits taken as independent."""
    errors = np.repeat(prints.errors(count), len(levels) // len(prints.within))
    chance = special.ndtr((levels - bar) / errors)
    for margin in margins.values():
        chance = chance * chance_to_prove(margin, count, tolerance_factor(count))
    return float(chance.mean())


def _bar(prints: _Prints, rival: float, count: int) -> float:
    """Give the mean that a recipe as good as the rival misses with probability 0.95."""
    errors = prints.errors(count)
    return float(mixture_quantile(np.full(len(errors), rival), errors, CONFIDENCE))


def _caught(prints: _Prints, threshold: float, count: int) -> float:
    """Give the true score that misses a threshold with probability 0.95."""
    errors = prints.errors(count)
    return float(mixture_quantile(np.full(len(errors), threshold), errors, 1 - CONFIDENCE))


def _floor(prints: _Prints, levels: Floats, count: int) -> float:
    """Give the mean that the recipe itself misses one time in twenty: a prediction bound."""
    errors = np.repeat(prints.errors(count), len(levels) // len(prints.within))
    return float(mixture_quantile(levels, errors, 1 - CONFIDENCE))


def _margins(model: Model, name: str, prints: _Prints) -> Floats:
    """Distance of the prints' mean from a limit in standard deviations, a drawn function."""
    sign, value = learnt_limit(model, model.plan.metrics[name])
    drawn = prints.metrics[name].reshape(len(prints.scores), -1)
    return np.asarray(sign * (drawn.mean(axis=1) - value) / drawn.std(axis=1))


def _proof(model: Model, name: str, prints: _Prints, margins: Floats, count: int) -> LimitProof:
    metric, part = model.plan.metrics[name], model.metrics[name]
    factor = tolerance_factor(count)
    sign, value = learnt_limit(model, metric)
    sd = float(prints.metrics[name].std(axis=2).mean())
    bar = float(part.back(np.array(value + sign * factor * sd)))
    passes = float(chance_to_prove(margins, count, factor).mean())
    return LimitProof(name, str(metric.limit), part.log, factor, bar, passes)


def _simulated(
    model: Model, prints: _Prints, threshold: float, proofs: list[LimitProof], count: int
) -> float:
    """Share of simulated runs that pass in everything."""
    passed = prints.scores[:, :, :count].mean(axis=2) >= threshold
    for proof in proofs:
        sign, value = learnt_limit(model, model.plan.metrics[proof.metric])
        run = prints.metrics[proof.metric][:, :, :count]
        passed &= sign * (run.mean(axis=2) - value) >= proof.factor * run.std(axis=2, ddof=1)
    return float(passed.mean())


def _curve(
    levels: Floats, rival: float, threshold: float, errors: Floats, sign: float
) -> pd.DataFrame:
    """Give the probability to pass in score over the true score."""
    reach_out = 3 * float(errors.max())
    known = [*np.quantile(levels, [0.01, 0.99]), threshold]
    known += [rival] if np.isfinite(rival) else []
    grid = np.linspace(min(known) - reach_out, max(known) + reach_out, 81)
    passes = [reach(level, threshold, errors) for level in grid]
    return pd.DataFrame({"score": sign * grid, "passes": passes})
