"""Learning the model of an experiment from its trials: `fit`."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Metric, Plan
from optimiser.aged_evidence import Aged, aged_evidence
from optimiser.aged_process import AgedProcess
from optimiser.earlier import gather_earlier, known_rows, tell_agreement
from optimiser.encoding import Encoding, Points
from optimiser.evidence import Evidence, gather
from optimiser.goals import Goals
from optimiser.printability import Printability
from optimiser.process import EnsembleProcess
from optimiser.scale_choice import is_better_on_logarithm
from optimiser.scales import is_logarithmic, is_open
from optimiser.surrogate import MetricModel, Model, Progress
from optimiser.threads import one_thread
from optimiser.transfer import LEAST, Observations, learn_from_both
from optimiser.wording import many

__all__ = ["fit"]


@one_thread
def fit(
    plan: Plan,
    trials: pd.DataFrame,
    seed: int = 0,
    *,
    earlier: pd.DataFrame | None = None,
    progress: Progress | None = None,
) -> Model:
    """Learn a model of every metric from the trials.

    Where the plan has an age, of each metric at that age, as far as kept cones tell.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`): variables, metrics, ``status``; optional
        ``cone``, ``session``. May be empty.
    seed : int
        Repeats exactly on the same versions.
    earlier : DataFrame, optional
        The same of a finished experiment with the same variables, to learn from as far as it
        agrees; its metrics are in the plan's units (see `optimiser.transfer`).
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Model

    Raises
    ------
    TrialsError
        A table does not fit the plan.
    """
    aged: dict[str, Aged] = {}
    if plan.age is None:
        evidence = gather(plan, trials)
        notes = list(evidence.notes)
    else:
        evidence, aged, told = aged_evidence(plan, trials, seed)
        notes = [*evidence.notes, *told]
    if aged and earlier is not None:
        earlier = None
        notes.append("The earlier experiment is left out: how its cones age is not known.")
    encoding = Encoding(evidence.space)
    past = None if earlier is None else gather_earlier(plan, earlier, notes)
    metrics: dict[str, MetricModel] = {}
    for place, (name, metric) in enumerate(plan.metrics.items()):
        if progress:
            progress(place / len(plan.metrics), f"learning {name}")
        model = _fit_metric(metric, evidence, past, aged.get(name), encoding, seed, notes)
        if model is not None:
            metrics[name] = model
    left_out = [
        metric.name
        for metric in plan.metrics.values()
        if metric.name not in metrics and (metric.goal != "watch" or metric.limit is not None)
    ]
    if left_out and metrics:
        notes.append(f"The score leaves out {', '.join(left_out)} until measured.")
    if past is not None:
        notes.append(tell_agreement(plan, past.cones, metrics))
    printability = Printability(encoding).fit(
        *_prints(evidence, encoding), None if past is None else _prints(past, encoding)
    )
    goals = Goals(plan, metrics)
    return Model(
        plan, evidence, encoding, goals, metrics, printability, seed, notes, past, aged
    )  # fmt: skip


def _prints(evidence: Evidence, encoding: Encoding) -> tuple[Points, Points]:
    """Give the recipes that printed and those that failed."""
    printed = evidence.recipes(evidence.measured.drop_duplicates("cone"))
    return encoding(printed), encoding(evidence.recipes(evidence.failed))


def _fit_metric(
    metric: Metric,
    evidence: Evidence,
    past: Evidence | None,
    aged: Aged | None,
    encoding: Encoding,
    seed: int,
    notes: list[str],
) -> MetricModel | None:
    """Learn one metric, or say why not."""
    measured = evidence.measured
    column = measured[metric.name].to_numpy(dtype=float)
    rows = np.flatnonzero(np.isfinite(column))
    values = column[rows]
    theirs = known_rows(metric, past)
    deciding = values if len(rows) >= LEAST else np.append(values, theirs[metric.name])
    log = is_logarithmic(metric.unit, deciding) if aged is None else aged.logarithmic
    if len(rows) >= LEAST and aged is None and past is None and is_open(metric.unit):
        plain = _observations(metric, evidence, measured.iloc[rows], encoding, log=False)
        log = is_better_on_logarithm(plain, encoding, seed)
    theirs = theirs[theirs[metric.name] > 0] if log else theirs
    if len(rows) < LEAST and len(theirs) < LEAST:
        found = many(len(rows), "measured value")
        notes.append(f"{metric.label}: cannot tell yet, {found}, {LEAST} needed.")
        return None
    if len(values) > 1 and np.ptp(values) == 0:
        notes.append(
            f"{metric.label}: all {len(rows)} values are equal, so no knob shows an effect."
        )
    table = measured.iloc[rows]
    own = _observations(metric, evidence, table, encoding, log=log)
    process, agreement = EnsembleProcess(encoding, seed=seed), None
    if aged is not None:
        drift = aged.covariance[np.ix_(rows, rows)]
        process = AgedProcess(encoding, drift, aged.own, seed=seed)
    if past is not None and len(theirs) >= LEAST:
        known = _observations(metric, past, theirs, encoding, log=log)
        process, agreement = learn_from_both(encoding, own, known, seed)
    else:
        process.fit(*own)
    for row in np.flatnonzero(process.wild_):
        notes.append(
            f"{metric.label} of cone {table['cone'].iloc[row]} ({values[row]:.4g} {metric.unit}) "
            "lies far from what all other cones foretell; it counts little. Measure it again."
        )
    return MetricModel(metric, log, process, int(table["cone"].nunique()), rows, agreement)


def _observations(
    metric: Metric, evidence: Evidence, table: pd.DataFrame, encoding: Encoding, *, log: bool
) -> Observations:
    """Give the measured values of a table's rows as a process takes them."""
    recipes = evidence.recipes(table)
    values = table[metric.name].to_numpy(dtype=float)
    same = recipes.groupby(list(recipes), dropna=False, sort=False).ngroup()
    return Observations(
        encoding(recipes),
        np.log(values) if log else values,
        _codes(table["cone"]),
        _codes(table["session"]),
        np.asarray(same, np.intp),
    )


def _codes(labels: pd.Series) -> npt.NDArray[np.intp]:
    """Give labels numbers in order of appearance."""
    return pd.factorize(labels)[0].astype(np.intp)
