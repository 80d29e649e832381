"""The measurements that can tell spread: which cone, recipe and session each belongs to."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.circumstances import CIRCUMSTANCES
from experiments.plan import Plan
from optimiser.evidence import gather
from optimiser.scales import is_logarithmic

__all__ = ["Heard", "Tied", "hear", "tie"]

Floats = npt.NDArray[np.float64]
Labels = npt.NDArray[np.intp]

_SAME_LIGHT = 1.0  # hours: a cone that got more light than this between two hearings has aged


@dataclass(frozen=True)
class Heard:
    """The measured rows of a table of trials.

    Parameters
    ----------
    plan : Plan
    table : DataFrame
        One row a measurement: the plan's metrics, ``cone`` (str), ``session`` (str, or None
        where none was named), the `CIRCUMSTANCES` (``light_hours`` 0 where not given), ``group``
        (int: recipe and light it got) and ``item`` (int: cone and light it got).
    sessions : list of str
        Named sessions in the order of their first measurement.
    notes : list of str
        What could not be used.
    """

    plan: Plan
    table: pd.DataFrame
    sessions: list[str]
    notes: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class Tied:
    """Values of one metric with other values to compare them with.

    Parameters
    ----------
    values : ndarray of shape (n,)
        On the scale the metric is learnt on.
    logarithmic : bool
        Whether that is the natural logarithm.
    group, item, session : ndarray of int, shape (n,)
        Recipe, cone and session of each, numbered from 0. Only groups with two values or more.
    sessions : list
        Label of each session number; None for a measurement without one.
    entered_once : int
        Repeats dropped because every cone's repeats are equal to the last digit.
    """

    values: Floats
    logarithmic: bool
    group: Labels
    item: Labels
    session: Labels
    sessions: list[str | None]
    entered_once: int = 0

    def __len__(self) -> int:
        return len(self.values)

    def take(self, rows: npt.NDArray[np.bool_]) -> Tied:
        """Keep some of the rows; groups, cones and sessions are numbered anew."""
        session, kept = pd.factorize(self.session[rows])
        return Tied(
            self.values[rows],
            self.logarithmic,
            pd.factorize(self.group[rows])[0].astype(np.intp),
            pd.factorize(self.item[rows])[0].astype(np.intp),
            session.astype(np.intp),
            [self.sessions[place] for place in kept],
            self.entered_once,
        )


def hear(plan: Plan, trials: pd.DataFrame) -> Heard:
    """Take the measured rows out of a table of trials.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`); with a column ``measurement``, as
        `Ledger.wide_table` has it, sessions are put in the order of measuring.

    Returns
    -------
    Heard

    Raises
    ------
    TrialsError
        The table does not fit the plan.

    Notes
    -----
    A cone that got light between two hearings is another item in the second: the difference
    is its ageing, and tells nothing about rig or mounting.
    """
    frame = trials.reset_index(drop=True)
    # The row's number stands for its session, so that its other columns are found again.
    evidence = gather(plan, frame.assign(session=np.arange(len(frame)).astype(str)))
    measured = evidence.measured
    rows = _whole(measured["session"].astype(int))
    table = measured[[*plan.metrics, "cone"]].copy()
    # dtype=object is said aloud: pandas 3 would turn None into its own missing text.
    session = _column(frame, "session", rows, None)
    table["session"] = pd.Series(session, index=table.index, dtype=object)
    for name in CIRCUMSTANCES:
        numbers = pd.Series(_column(frame, name, rows, np.nan), index=table.index)
        table[name] = pd.to_numeric(numbers, errors="coerce").astype(float)
    table["light_hours"] = table["light_hours"].fillna(0.0)
    recipes = evidence.recipes(measured)
    recipe = _whole(recipes.groupby(list(recipes), dropna=False, sort=False).ngroup())
    table["group"] = _aged(recipe, table["light_hours"].to_numpy(dtype=float))
    table["item"] = table.groupby(["cone", "group"], sort=False).ngroup()
    return Heard(plan, table, _in_order(frame, table, rows), list(evidence.notes))


def _whole(column: pd.Series[Any]) -> Labels:
    return np.asarray(column, dtype=np.intp)


def _column(frame: pd.DataFrame, name: str, rows: Labels, missing: object) -> list[Any]:
    """Give a column's values in the rows, as text where it is a session."""
    if name not in frame:
        return ["all" if name == "session" else missing] * len(rows)
    values = [missing if pd.isna(value) else value for value in frame[name].iloc[rows]]
    return [str(v) if name == "session" and v is not missing else v for v in values]


def _aged(recipe: Labels, hours: Floats) -> Labels:
    """Split each recipe's rows where the light they got differs by more than the slack."""
    order = np.lexsort((hours, recipe))
    new_recipe = np.diff(recipe[order], prepend=-1) != 0
    brighter = np.diff(hours[order], prepend=0.0) > _SAME_LIGHT
    group = np.empty(len(recipe), dtype=np.intp)
    group[order] = np.cumsum(new_recipe | brighter) - 1
    return group


def _in_order(frame: pd.DataFrame, table: pd.DataFrame, rows: Labels) -> list[str]:
    """Give the named sessions in the order of their first measurement."""
    place = rows.astype(float)
    if "measurement" in frame:
        numbers = pd.to_numeric(frame["measurement"], errors="coerce").astype(float)
        place = np.where(np.isfinite(numbers.iloc[rows]), numbers.iloc[rows], np.inf)
    first: dict[str, float] = {}
    for session, when in zip(table["session"], place, strict=True):
        if session is not None:
            first[session] = min(when, first.get(session, np.inf))
    return sorted(first, key=lambda session: first[session])


def tie(heard: Heard, metric: str) -> Tied:
    """Give the values of a metric that have another of their recipe to be compared with.

    Parameters
    ----------
    heard : Heard
    metric : str
        A metric of the plan.
    """
    column = heard.table[metric].to_numpy(dtype=float)
    rows = np.isfinite(column)
    table, values = heard.table[rows], column[rows]
    logarithmic = is_logarithmic(heard.plan.metrics[metric].unit, values)
    names = list(table["session"])
    # A measurement without a session has one of its own.
    labels = [f"named {name}" if name is not None else f"row {r}" for r, name in enumerate(names)]
    session, kept = pd.factorize(np.array(labels, dtype=object))
    tied = Tied(
        np.log(values) if logarithmic else values,
        logarithmic,
        table["group"].to_numpy(dtype=np.intp),
        table["item"].to_numpy(dtype=np.intp),
        session.astype(np.intp),
        [label.removeprefix("named ") if label[0] == "n" else None for label in kept],
    )
    return _paired(_without_copies(tied))


def _paired(tied: Tied) -> Tied:
    """Drop groups of one value: their mean takes it whole."""
    sizes = np.bincount(tied.group) if len(tied) else np.zeros(0, dtype=np.intp)
    return tied.take(sizes[tied.group] > 1)


def _without_copies(tied: Tied) -> Tied:
    """Keep one value a cone where no cone's repeats ever differ.

    Such values were entered once and copied (a mass), or read too coarsely to differ.
    """
    spread = pd.Series(tied.values).groupby(tied.item).agg(["min", "max", "size"])
    repeated = spread[spread["size"] > 1]
    if not len(repeated) or (repeated["max"] > repeated["min"]).any():
        return tied
    first = ~pd.Series(tied.item).duplicated().to_numpy()
    kept = tied.take(first)
    return Tied(
        kept.values, kept.logarithmic, kept.group, kept.item, kept.session, kept.sessions,
        entered_once=int((~first).sum()),
    )  # fmt: skip
