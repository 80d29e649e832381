"""The model of an experiment: one process a metric, and the score built from them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Metric, Plan
from optimiser.aged_evidence import Aged
from optimiser.answers import Calibration, Estimate, Settings
from optimiser.encoding import Encoding, Points
from optimiser.evidence import Evidence
from optimiser.goals import Goals
from optimiser.printability import Printability
from optimiser.process import EnsembleProcess, mixture_quantile
from optimiser.threads import one_thread
from optimiser.transfer import (
    LEAST,
    Agreement,
    InformedProcess,
)

__all__ = ["LEAST", "Leader", "MetricModel", "Model", "Progress"]

Floats = npt.NDArray[np.float64]
Progress = Callable[[float, str], None]

_LOW, _HIGH = 0.05, 0.95
_ENDS = np.array([_LOW, _HIGH])


@dataclass(frozen=True)
class Leader:
    """The best measured cone by the model's expected score (not by its luckiest measurement)."""

    cone: str
    settings: Settings
    score: Estimate
    expected: dict[str, Estimate]


@dataclass(frozen=True)
class MetricModel:
    """One metric's process and the scale it was learnt on.

    Parameters
    ----------
    metric : Metric
    log : bool
        Learnt on the logarithm: positive times, frequencies, masses and percentages.
    process : EnsembleProcess
    cones : int
        Measured cones behind it, those of an earlier experiment apart.
    rows : ndarray of int
        Rows of the evidence that it learnt from.
    agreement : Agreement or None
        With the earlier experiment, where one has values of it.
    """

    metric: Metric
    log: bool
    process: EnsembleProcess
    cones: int
    rows: npt.NDArray[np.intp]
    agreement: Agreement | None = None

    @property
    def informed(self) -> bool:
        """Whether an earlier experiment counts in it."""
        return isinstance(self.process, InformedProcess)

    def back(self, values: Floats) -> Floats:
        """From the learnt scale to the metric's unit."""
        return np.exp(np.clip(values, -700, 700)) if self.log else values

    def summary(self, mean: Floats, variance: Floats) -> dict[str, Floats]:
        """Mean, sd, 90 % interval in the metric's unit of a mixture over draws (axis 0).

        The mean is kept inside its interval.
        """
        sd = np.sqrt(variance)
        low, high = self.back(mixture_quantile(mean[:, None], sd[:, None], _ENDS[:, None]))
        if self.log:
            level = np.exp(np.clip(mean + 0.5 * variance, -700, 700))
            square = level**2 * np.exp(np.clip(variance, 0, 50))
            average = level.mean(axis=0)
            spread = np.sqrt(np.maximum(square.mean(axis=0) - average**2, 0.0))
            # A mean that a few huge draws would carry out of the interval says nothing.
            average = np.clip(average, low, high)
        else:
            average = mean.mean(axis=0)
            spread = np.sqrt(variance.mean(axis=0) + mean.var(axis=0))
        return {"mean": average, "sd": spread, "low": low, "high": high}

    def new_measurement(self, points: Points) -> dict[str, Floats]:
        """Foretell a new measurement of a new cone of each recipe."""
        mean, variance = self.process.predict(points)
        novelty = self.process.novelty_[:, None] * self.process.scale_**2
        return self.summary(mean, variance + novelty)

    def calibration(self, observed: pd.DataFrame) -> Calibration:
        """Compare each observation with what all other cones foretell."""
        left, process = self.process.leave_out(), self.process
        mean = process.centre_ + process.scale_ * left.mean
        foretold = self.summary(mean, process.scale_**2 * left.variance)
        seen = observed[self.metric.name].to_numpy(dtype=float)[self.rows]
        table = pd.DataFrame(
            {
                "cone": observed["cone"].to_numpy()[self.rows],
                "observed": seen,
                "mean": foretold["mean"],
                "low": foretold["low"],
                "high": foretold["high"],
            }
        )
        table["inside"] = (table["low"] <= seen) & (seen <= table["high"])
        table["miss"] = (table["mean"] - seen) ** 2
        by_cone = table.groupby("cone", sort=False)[["inside", "miss"]].first()
        return Calibration(
            metric=self.metric.name,
            unit=self.metric.unit,
            cones=len(by_cone),
            inside=int(by_cone["inside"].sum()),
            error=float(np.sqrt(by_cone["miss"].mean())),
            spread=float(np.std(seen, ddof=1)) if len(seen) > 1 else float("nan"),
            table=table.drop(columns=["inside", "miss"]),
        )


@dataclass
class Model:
    """What has been learnt from the trials.

    Parameters
    ----------
    plan : Plan
    evidence : Evidence
    encoding : Encoding
    goals : Goals
    metrics : dict of str to MetricModel
        Metrics without enough values are absent; `notes` says so.
    printability : Printability
        Whether a recipe prints at all.
    seed : int
    notes : list of str
        What could not be used or done.
    earlier : Evidence or None
        What an earlier experiment tells.
    aged : dict of str to Aged
        Metrics that were moved to the plan's age, the evidence with them.
    pools : dict of int to tuple
        Recipes and their drawn utility by seed, once `optimiser.pool.dense_pool` was asked.
    paths : dict of (str, int) to object
        Drawn functions by metric and seed, once `optimiser.paths.DrawnFunctions` was asked.
    """

    plan: Plan
    evidence: Evidence
    encoding: Encoding
    goals: Goals
    metrics: dict[str, MetricModel]
    printability: Printability
    seed: int
    notes: list[str] = field(default_factory=list)
    earlier: Evidence | None = None
    aged: dict[str, Aged] = field(default_factory=dict)
    pools: dict[int, tuple[npt.NDArray[np.int32], Floats]] = field(
        default_factory=dict, repr=False, compare=False
    )
    paths: dict[tuple[str, int], object] = field(default_factory=dict, repr=False, compare=False)

    @property
    def scorable(self) -> bool:
        """Whether any metric with a goal has a model."""
        return bool(self.goals.metrics)

    @property
    def informed(self) -> bool:
        """Whether an earlier experiment counts in every metric of the score."""
        needed = [self.metrics[name] for name in self.goals.needed]
        return bool(needed) and all(model.informed for model in needed)

    @property
    def judged(self) -> bool:
        """Whether enough of our own cones have values to judge an earlier experiment by."""
        return all(self.metrics[name].cones >= LEAST for name in self.goals.needed)

    @property
    def cones(self) -> int:
        """Number of measured cones."""
        return self.evidence.cones

    @one_thread
    def predict(self, recipes: pd.DataFrame) -> pd.DataFrame:
        """Foretell a new measurement of a new cone of each recipe.

        Parameters
        ----------
        recipes : DataFrame of shape (m, variables)
            NaN or None where a variable is inactive.

        Returns
        -------
        DataFrame of shape (m, 4 * metrics)
            Columns ``(metric, 'mean' | 'sd' | 'low' | 'high')`` in the metric's unit; low and
            high are the 90 % interval. NaN where a metric has no model. Index as `recipes`.
        """
        points = self.encoding(_with_columns(self.plan, recipes))
        blank = {key: np.full(len(recipes), np.nan) for key in ("mean", "sd", "low", "high")}
        columns = {}
        for name in self.plan.metrics:
            model = self.metrics.get(name)
            foretold = model.new_measurement(points) if model and len(points) else blank
            columns.update({(name, key): foretold[key] for key in blank})
        frame = pd.DataFrame(columns, index=recipes.index)
        frame.columns = pd.MultiIndex.from_tuples(list(columns), names=["metric", "value"])
        return frame

    def predict_score(self, recipes: pd.DataFrame, *, noisy: bool = True) -> list[Estimate]:
        """Foretell the score of each recipe.

        Parameters
        ----------
        recipes : DataFrame
        noisy : bool
            With the noise of a new measurement of a new cone (as `predict`), or of the recipe
            itself.

        Returns
        -------
        list of Estimate
            NaN while the score has no model.
        """
        if not self.scorable or not len(recipes):
            return [unknown(self.cones)] * len(recipes)
        draws = self.sample_scores(self.encoding(recipes), noisy=noisy)
        return [estimate(column, self.cones) for column in draws.T]

    def sample_scores(self, points: Points, *, noisy: bool, count: int = 64) -> Floats:
        """Draw scores of each recipe by itself, shape (draws * count, m)."""
        return self.goals.score(self._sampled(points, noisy, count))

    def keeps_limits(self, points: Points, count: int = 64) -> Floats:
        """Give the probability that each recipe itself keeps every hard limit, shape (m,)."""
        if not self.goals.limited:
            return np.ones(len(points))
        values = self._sampled(points, noisy=False, count=count)
        return np.asarray(self.goals.within_limits(values).mean(axis=0))

    def _sampled(self, points: Points, noisy: bool, count: int) -> dict[str, Floats]:
        """Draw what the score is made of, each recipe by itself, (draws * count, m) a metric."""
        rng = np.random.default_rng([self.seed, 11])
        values = {}
        for name in self.goals.needed:
            model = self.metrics[name]
            mean, variance = model.process.predict(points)
            if noisy:
                variance = variance + model.process.novelty_[:, None] * model.process.scale_**2
            normal = rng.standard_normal((len(mean), count, 1))
            sample = mean[:, None, :] + normal * np.sqrt(variance)[:, None, :]
            values[name] = model.back(sample).reshape(len(mean) * count, len(points))
        return values

    def calibration(self) -> list[Calibration]:
        """Leave one cone out, for every metric that has a model."""
        return list(self._calibration)

    @cached_property
    def _calibration(self) -> list[Calibration]:
        return [model.calibration(self.evidence.measured) for model in self.metrics.values()]

    def scores(self, trials: pd.DataFrame) -> Floats:
        """Measured score of each row: NaN where a metric that it needs is missing."""
        values = {}
        for name in self.goals.needed:
            column = trials[name] if name in trials else pd.Series(np.nan, index=trials.index)
            values[name] = pd.to_numeric(column, errors="coerce").to_numpy(dtype=float)
        return self.goals.score(values) if values else np.full(len(trials), np.nan)

    def as_judged(self, trials: pd.DataFrame) -> pd.DataFrame:
        """Give a table of trials with its metrics as the model judges them: at the plan's age."""
        if not self.aged or self.plan.age is None:
            return trials
        clock, moved = self.plan.age.clock, {}
        times = pd.to_numeric(trials[clock], errors="coerce").to_numpy(dtype=float)
        for name, one in self.aged.items():
            column = pd.to_numeric(trials[name], errors="coerce").to_numpy(dtype=float)
            moved[name] = one.moved(column, times)
        return trials.assign(**moved)

    def expected(self, recipes: pd.DataFrame) -> list[dict[str, Estimate]]:
        """Give `predict` as one dict of estimates a recipe."""
        foretold = self.predict(recipes)
        counts = {n: m.cones for n, m in self.metrics.items()}
        return [
            {
                name: Estimate(
                    float(row[(name, "mean")]),
                    float(row[(name, "low")]),
                    float(row[(name, "high")]),
                    counts.get(name, 0),
                )
                for name in self.plan.metrics
            }
            for _, row in foretold.iterrows()
        ]

    def leader(self) -> Leader | None:
        """Give the measured cone with the best expected score; None while nothing is known."""
        return self._leader

    @cached_property
    def _leader(self) -> Leader | None:
        if not self.scorable:
            return None
        measured = self.evidence.measured
        own = self.scores(measured)
        recipes = self.evidence.recipes(measured)
        estimates = self.predict_score(recipes, noisy=False)
        ranking = self.goals.sign * np.array([estimate.mean for estimate in estimates])
        ranking = np.where(np.isnan(own) | np.isnan(ranking), -np.inf, ranking)
        if not np.isfinite(ranking).any():
            return None
        best = int(np.argmax(ranking))
        row = recipes.iloc[[best]]
        return Leader(
            cone=str(measured["cone"].iloc[best]),
            settings=self.evidence.space.settings(recipes.iloc[best]),
            score=estimates[best],
            expected=self.expected(row)[0],
        )


def unknown(cones: int) -> Estimate:
    """Give the estimate of what the data cannot carry."""
    return Estimate(float("nan"), float("nan"), float("nan"), cones)


def estimate(sample: Floats, cones: int) -> Estimate:
    """Summarise draws: their mean and 5 % to 95 % quantiles, widened to hold a skew mean."""
    known = sample[np.isfinite(sample)]
    if not len(known):
        return unknown(cones)
    low, high = np.quantile(known, [_LOW, _HIGH])
    mean = float(known.mean())
    return Estimate(mean, min(float(low), mean), max(float(high), mean), cones)


def _with_columns(plan: Plan, recipes: pd.DataFrame) -> pd.DataFrame:
    """Add variables that a frame of recipes lacks as inactive ones."""
    frame = recipes.copy()
    for name, variable in plan.variables.items():
        if name not in frame:
            frame[name] = np.nan if variable.numeric else None
    return frame[list(plan.variables)]
