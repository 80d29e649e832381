"""A finished experiment as prior evidence: what of it can be used, and how well it agrees."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import pandas as pd

from experiments.errors import Problem, TrialsError
from experiments.plan import Metric, Plan
from optimiser.evidence import Evidence, gather
from optimiser.wording import many

if TYPE_CHECKING:
    from optimiser.surrogate import MetricModel

__all__ = ["gather_earlier", "known_rows", "tell_agreement"]

_WIDE = 0.6  # width of the agreement's interval from which nothing can be told
_LITTLE = 0.5  # agreement under which the earlier cones hardly count


def gather_earlier(plan: Plan, trials: pd.DataFrame, notes: list[str]) -> Evidence | None:
    """Sort an earlier experiment's table.

    Parameters
    ----------
    plan : Plan
        Of this experiment.
    trials : DataFrame
        As for `optimiser.evidence.gather`.
    notes : list of str
        What could not be used is added.

    Returns
    -------
    Evidence or None
        None if no cone of it is measured or failed.

    Raises
    ------
    TrialsError
        The table does not fit the plan.
    """
    try:
        found = gather(plan, trials)
    except TrialsError as error:
        raise TrialsError(*[_theirs(problem) for problem in error.problems]) from error
    if not len(found.measured) and not len(found.failed):
        notes.append(
            "The earlier experiment has no cone to learn from: none failed, and none has a value "
            "of a metric of this plan."
        )
        return None
    notes.extend(f"Earlier experiment: {note}" for note in found.notes)
    return found


def _theirs(problem: Problem | str) -> Problem | str:
    """Say that it is the earlier table that a problem is in."""
    if isinstance(problem, str):
        return problem
    where = problem.where.replace("trials,", "earlier trials,", 1)
    return Problem(where, problem.found, problem.expected, problem.remedy)


def known_rows(metric: Metric, past: Evidence | None) -> pd.DataFrame:
    """Give the earlier experiment's rows that have a value of a metric, if any."""
    if past is None:
        return pd.DataFrame({metric.name: pd.Series(dtype=float)})
    return past.measured.dropna(subset=[metric.name])


def tell_agreement(plan: Plan, cones: int, models: Mapping[str, MetricModel]) -> str:
    """Say how much an earlier experiment counts, metric by metric.

    Parameters
    ----------
    plan : Plan
    cones : int
        Measured cones of the earlier experiment.
    models : mapping of str to MetricModel

    Returns
    -------
    str
    """
    told = [
        f"{plan.metrics[name].label}: {_agreement(model)}"
        for name, model in models.items()
        if model.agreement is not None
    ]
    head = f"Learns from {many(cones, 'cone')} of the earlier experiment"
    if not told:
        return f"{head}, but of no metric: it has fewer than 3 values of each."
    scale = "0 is unrelated, 1 the same but for an offset"
    return f"{head}. How well it agrees ({scale}): {'; '.join(told)}."


def _agreement(model: MetricModel) -> str:
    """Write one metric's agreement, as far as our own cones can judge it."""
    found = model.agreement
    assert found is not None
    if not model.informed:
        return "not at all, so it does not count"
    if not model.cones or found.high - found.low > _WIDE:
        return "cannot tell yet"
    text = f"{found.mean:.2f} (90 %: {found.low:.2f}..{found.high:.2f})"
    return f"{text}, hardly counts" if found.high < _LITTLE else text
