"""Remarks about what was recorded but may be a slip of the finger."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import pandas as pd

from experiments.ledger import Ledger
from experiments.plan import Metric, Plan
from experiments.slips import FEW, number_remark, recipe_remarks
from experiments.trials import WEIGHED, is_mass
from optimiser.cautions import unstated

__all__ = ["entry_remarks", "experiment_remarks", "odd_entries"]

_UNITS = {"mass": "g", "minutes": "min"}


def entry_remarks(
    ledger: Ledger,
    cone: int,
    numbers: Mapping[str, float | None],
    settings: Collection[str] = (),
) -> list[str]:
    """Say what is odd about values that were recorded just now.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    cone : int
        Whose values they are.
    numbers : mapping
        Metric, ``mass`` (grams) or ``minutes`` to number; None is passed over.
    settings : collection of str
        The variables that a person gave.

    Returns
    -------
    list of str
        One sentence each; empty where nothing is odd.
    """
    return [*_on_recipe(ledger, cone, settings), *_on_numbers(ledger, cone, numbers)]


def odd_entries(plan: Plan, trials: pd.DataFrame) -> list[str]:
    """Say which values that a person entered lie far from those of the other cones.

    Parameters
    ----------
    plan : Plan
        Whose metrics they are.
    trials : DataFrame
        The table, with ``cone`` and ``status``. Cones that are set aside do not count.

    Returns
    -------
    list of str
        One sentence a cone and metric. With fewer than four cones nobody knows which is odd, so
        that only the plan's poor and good tell.
    """
    counted = trials[trials["status"] != "set aside"]
    # One number a cone: its first, since a cone heard ten times is one witness.
    first = counted.groupby("cone").first()
    remarks = []
    for name, metric in plan.metrics.items():
        if metric.source != "hand":
            continue
        known = first[name].dropna()
        for cone, value in counted[["cone", name]].dropna().itertuples(index=False):
            others = known.drop(cone) if len(known) >= FEW else ()
            remark = number_remark(
                metric.label, value, others, unit=metric.unit, ends=_ends(metric)
            )
            remarks += [f"cone {cone}: {remark}"] if remark else []
    return list(dict.fromkeys(remarks))


def experiment_remarks(ledger: Ledger) -> list[str]:
    """Say what is wrong with nothing in an experiment and yet looks odd.

    Parameters
    ----------
    ledger : Ledger
        The experiment.

    Returns
    -------
    list of str
        What is left over, entered values that may be slips, and cautions that are not stated.
    """
    plan = ledger.plan
    slips = [
        f"{remark}; correct it in the exported table if it is a slip"
        for remark in odd_entries(plan, ledger.full_table())
    ]
    return [*ledger.left_over(), *slips, *unstated(plan)]


def _on_recipe(ledger: Ledger, cone: int, typed: Collection[str]) -> list[str]:
    """Say which settings lie outside the plan, and which rules the recipe breaks."""
    if not typed:
        return []
    return recipe_remarks(ledger.plan, ledger.space, ledger.cone(cone).settings, typed)


def _on_numbers(ledger: Ledger, cone: int, typed: Mapping[str, float | None]) -> list[str]:
    """Say which numbers lie far from those of the other cones, or from poor and good."""
    given = {name: value for name, value in typed.items() if value is not None}
    if not given:
        return []
    plan, frame = ledger.plan, ledger.full_table()
    # One number a cone: its first, since a cone heard ten times is one witness.
    others = frame[frame["cone"] != cone].groupby("cone").first()
    weighed = next((name for name, one in plan.metrics.items() if is_mass(one)), WEIGHED)
    remarks = []
    for name, value in given.items():
        columns = {"mass": weighed, "minutes": "print_minutes"}
        column = name if name in plan.metrics else columns.get(name, name)
        metric = plan.metrics.get(column)
        remarks.append(
            number_remark(
                metric.label if metric else name,
                value,
                others[column].dropna(),
                unit=(metric.unit if metric else "") or _UNITS.get(name, ""),
                ends=_ends(metric),
            )
        )
    return [remark for remark in remarks if remark]


def _ends(metric: Metric | None) -> list[float]:
    """Give the numbers that the plan calls poor and good; a target has two poor ones."""
    ends: list[float] = []
    for end in (metric.poor, metric.good) if metric is not None else ():
        ends += end if isinstance(end, tuple) else [] if end is None else [end]
    return ends
