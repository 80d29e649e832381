"""Measurements as they are expected to be at the age for which the plan judges cones."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special, stats

from experiments.plan import Age, Metric, Plan
from optimiser import wording
from optimiser.ageing_confounding import never_aged
from optimiser.ageing_model import AgeModel, Drawn
from optimiser.ageing_prepared import prepare
from optimiser.ageing_rows import CLOCKS, Clock, Kept
from optimiser.answers import Estimate
from optimiser.evidence import Evidence, gather
from optimiser.repeats import hear
from optimiser.scales import change_in_percent

__all__ = ["Aged", "aged_evidence"]

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.intp]

_DRAWS = 2000
_FAR = 2.0  # times the longest time seen: beyond, every law counts the same
_LEAST = 2  # kept cones: one tells nothing of others
_LOOSE = 3.0  # factor on the drifts' spread under one law, which the process learns anew


@dataclass(frozen=True)
class Aged:
    """How one metric's measurements are moved to the plan's age.

    Parameters
    ----------
    logarithmic : bool
        The scale of all else.
    drawn : Drawn
        Drawn ways of ageing.
    drift : ndarray of shape (draws,)
        Mean drift of each.
    at : float
        The age.
    young : float
        The age that a measurement without one is taken to have.
    covariance : ndarray of shape (n, n)
        How uncertain the moves of the measured rows are.
    own : float
        Variance of a new cone's own drift about the mean one.
    """

    logarithmic: bool
    drawn: Drawn
    drift: Floats
    at: float
    young: float
    covariance: Floats
    own: float

    def moved(self, values: Floats, times: Floats) -> Floats:
        """Move values in the metric's unit from the ages at which they were heard, (n,) both."""
        here = self.drawn.along(np.where(np.isnan(times), self.young, times))
        ways = self.drawn.along(self.at) - here
        moves = np.median(self.drift[:, None] * ways, axis=0)
        grown = np.exp(np.clip(moves, -50.0, 50.0))
        return np.asarray(values * grown if self.logarithmic else values + moves)


def aged_evidence(
    plan: Plan, trials: pd.DataFrame, seed: int
) -> tuple[Evidence, dict[str, Aged], list[str]]:
    """Move what was measured to the plan's age, as far as kept cones tell how.

    Parameters
    ----------
    plan : Plan
        With an age.
    trials : DataFrame
        See `Ledger.table`.
    seed : int

    Returns
    -------
    evidence : Evidence
        As `gather` gives it, moved.
    aged : dict of str to Aged
        Metrics that were moved.
    notes : list of str
        What was done, and what could not be told.

    Raises
    ------
    TrialsError
        The table does not fit the plan.
    """
    assert plan.age is not None
    clock, frame = CLOCKS[plan.age.clock], trials.reset_index(drop=True)
    heard = hear(plan, frame)
    # The same order of rows as `hear` has, whose own sessions are put back.
    evidence = gather(plan, frame.assign(session=np.arange(len(frame)).astype(str)))
    measured = evidence.measured.copy()
    sessions = zip(heard.table["session"], measured["session"], strict=True)
    measured["session"] = [f"row {row}" if named is None else named for named, row in sessions]
    times = heard.table[clock.name].to_numpy(dtype=float)
    cones = pd.factorize(measured["cone"])[0].astype(np.intp)
    aged: dict[str, Aged] = {}
    moved: dict[str, int] = {}
    open_: dict[str, list[str]] = {}
    for place, metric in enumerate(plan.metrics.values()):
        found = prepare(heard, metric.name, clock)
        kept, why = found.kept, found.lacking
        if not why and kept.aged.sum() < _LEAST:
            why = "one cone alone was heard at several ages; a second would tell how cones differ"
        if why:
            if measured[metric.name].notna().any() and (kept.changes or not len(kept)):
                open_.setdefault(why, []).append(metric.label)
            continue
        drawn = _draw(kept, plan.age, np.random.default_rng([seed, 41, place]))
        one = _aged(kept, drawn, times, cones, plan.age)
        measured[metric.name] = one.moved(measured[metric.name].to_numpy(dtype=float), times)
        aged[metric.name] = one
        moved[_told(metric, kept, drawn, plan.age)] = int(kept.aged.sum())
    notes = _notes(plan.age, clock, moved, open_, int(np.isnan(times).sum()))
    if aged:
        recipes = measured.drop_duplicates("cone").set_index("cone")
        notes += never_aged(plan, recipes, heard.table["cone"], heard.table[clock.name])
    return replace(evidence, measured=measured), aged, notes


def _draw(kept: Kept, age: Age, rng: np.random.Generator) -> Drawn:
    far = age.at > kept.span.first + _FAR * kept.span.length
    return AgeModel(kept).draw(_DRAWS, rng, even=far)


def _aged(kept: Kept, drawn: Drawn, times: Floats, cones: Labels, age: Age) -> Aged:
    """Work out the moves of one metric, their covariance, and a new cone's own drift."""
    there = drawn.along(age.at)
    # A row without an age counts as young.
    here = drawn.along(np.where(np.isnan(times), kept.span.first, times))
    ways = there - here
    drift = _tamed(drawn.mean_drift)
    # The process sees the kept cones' readings too and learns their drifts from them: were these
    # drifts handed on as sharp as they are known here, the same readings would count twice.
    loose = _loosened(drift, drawn)[:, None] * ways
    # How cones differ, as far as few of them tell: their mean is then known no better than it is.
    spread = float(max(np.median(drawn.spread**2), kept.aged.sum() * _within_law(drift, drawn)))
    same = cones[:, None] == cones
    # The process learns what a recipe is at that age with the mean drift: by its own one a cone
    # departs from that the more, the older it was when heard.
    own = spread * (here.T @ here / len(here)) * same
    covariance = np.cov(loose, rowvar=False, ddof=0).reshape(len(times), len(times)) + own
    open_ = float(spread * np.mean(there**2))
    return Aged(kept.logarithmic, drawn, drift, age.at, kept.span.first, covariance, open_)


def _tamed(values: Floats) -> Floats:
    """Give heavy tails a normal shape with the same 90 % interval: few cones have no variance."""
    low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
    rank = (stats.rankdata(values) - 0.5) / len(values)
    return np.asarray(middle + special.ndtri(rank) * (high - low) / (2 * special.ndtri(0.95)))


def _loosened(drift: Floats, drawn: Drawn) -> Floats:
    """Widen the drifts under each law, and leave the laws as far apart as they are."""
    table = pd.DataFrame({"law": drawn.law, "shape": drawn.shape})
    point = table.groupby(["law", "shape"], sort=False).ngroup().to_numpy(dtype=np.intp)
    middle = np.bincount(point, drift) / np.bincount(point)
    return np.asarray(middle[point] + _LOOSE * (drift - middle[point]))


def _within_law(drift: Floats, drawn: Drawn) -> float:
    """Give the drifts' variance under one law, its mean over the laws."""
    return float(np.var(_loosened(drift, drawn) - drift) / (_LOOSE - 1.0) ** 2)


def _told(metric: Metric, kept: Kept, drawn: Drawn, age: Age) -> str:
    """Say how far a young cone's value is moved."""
    low, middle, high = np.quantile(
        drawn.mean_drift * drawn.along(age.at)[:, 0], [0.05, 0.5, 0.95]
    )
    ends = [float(each) for each in (middle, low, high)]
    if kept.logarithmic:
        ends = [change_in_percent(min(each, 300.0)) for each in ends]
    few = int(kept.aged.sum())
    unit = "% of its value" if kept.logarithmic else metric.unit
    change = wording.interval(Estimate(ends[0], ends[1], ends[2], few), unit)
    return f"{metric.label} by {change}"


def _notes(
    age: Age, clock: Clock, moved: dict[str, int], open_: dict[str, list[str]], without: int
) -> list[str]:
    at = f"{wording.with_unit(f'{age.at:g}', clock.unit)} of {clock.of}"
    notes = []
    if moved:
        few, most = min(moved.values()), wording.many(max(moved.values()), "kept cone")
        who = most if str(few) == most.split()[0] else f"{few} to {most}"
        told = "; ".join(moved)
        notes.append(f"Judged as expected after {at} by {who}: young values move, {told}.")
    notes += [
        f"The ageing of {', '.join(labels)} cannot be told yet, so judged as measured and not "
        f"after {at}: {why}."
        for why, labels in open_.items()
    ]
    if without and moved:
        rows = wording.many(without, "measurement")
        notes.append(f"{rows} without {clock.of} taken as young; {clock.option} tells.")
    return notes
