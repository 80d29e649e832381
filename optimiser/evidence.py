"""The table of trials, sorted into what each row can tell."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import Problem, TrialsError
from experiments.plan import Plan
from experiments.space import Space
from optimiser.wording import many

__all__ = ["STATUSES", "Evidence", "gather"]

Labels = list[str]

STATUSES = ("measured", "failed", "planned", "printed", "set aside")


@dataclass(frozen=True)
class Evidence:
    """What the trials say.

    Parameters
    ----------
    plan : Plan
    space : Space
    measured : DataFrame
        Measured rows whose recipe is complete: variables, every metric of the plan (NaN where
        missing), ``cone`` and ``session``; in order of the cones' numbers, index 0..n-1.
    failed, pending : DataFrame
        Recipes that did not print; recipes planned or printed whose measurement is to come.
    latest : Series or None
        Recipe of the cone with the highest number, or of the last row where cones have none.
    notes : list of str
        What could not be used, and why.
    """

    plan: Plan
    space: Space
    measured: pd.DataFrame
    failed: pd.DataFrame
    pending: pd.DataFrame
    latest: pd.Series | None = None
    notes: list[str] = field(default_factory=list)

    @property
    def cones(self) -> int:
        """Number of measured cones."""
        return int(self.measured["cone"].nunique())

    @property
    def known(self) -> pd.DataFrame:
        """Distinct recipes that are measured or still to be, in an order of their own.

        Random draws go to them in turn, and may not depend on how the table was sorted.
        """
        frames = [self.recipes(frame) for frame in (self.measured, self.pending)]
        recipes = pd.concat(frames, ignore_index=True).drop_duplicates()
        order = np.lexsort(self.space.codes(recipes).T)
        return recipes.iloc[order].reset_index(drop=True)

    def recipes(self, frame: pd.DataFrame) -> pd.DataFrame:
        """Give the variables' columns alone."""
        return frame[list(self.plan.variables)]


def gather(plan: Plan, trials: pd.DataFrame) -> Evidence:
    """Sort a table of trials.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One column a variable (NaN where inactive), one a metric, and ``status``; optional
        ``cone`` and ``session``. May be empty.

    Returns
    -------
    Evidence

    Raises
    ------
    TrialsError
        An unknown status, a value that is no number where one belongs, or a variable without
        a value in any measured or failed row.
    """
    space = Space(plan)
    frame = trials.reset_index(drop=True).copy()
    problems: list[Problem] = []
    notes: list[str] = []
    cones = _labels(frame, "cone")
    shown = [label if label.startswith("row") else f"cone {label}" for label in cones]
    recipes, strange = _recipes(plan, frame, shown, problems, notes)
    metrics = _metrics(plan, frame, problems)
    table = pd.concat([recipes, metrics], axis=1)
    table["status"] = _status(frame, metrics, problems)
    if problems:
        raise TrialsError(*problems)
    table["cone"] = cones
    table["session"] = _labels(frame, "session") if "session" in frame else "all"

    complete = _complete(plan, space, table, strange, shown, notes, problems)
    if problems:
        raise TrialsError(*problems)
    latest = _latest(table.loc[complete, [*plan.variables, "cone"]])
    order = _order(table)
    table, complete = table.iloc[order], complete[order]
    has_metric = table[list(plan.metrics)].notna().any(axis=1)
    measured = (table["status"] == "measured") & complete
    silent = int((measured & ~has_metric).sum())
    if silent:
        notes.append(f"{many(silent, 'measured row')} without any metric: they tell nothing.")
    pending = table["status"].isin(["planned", "printed"]) & complete
    failed = (table["status"] == "failed") & complete
    return Evidence(
        plan,
        space,
        table[measured & has_metric].reset_index(drop=True),
        table[failed].reset_index(drop=True),
        table[pending].reset_index(drop=True),
        latest,
        notes,
    )


def _order(table: pd.DataFrame) -> npt.NDArray[np.intp]:
    """Order rows by cone and by what they hold, so that the table's own order tells nothing.

    The order of a sum shows in its last digits. Rows without a cone keep their order, at the end.
    """

    def rank(place: int) -> tuple[int, float, str, str]:
        label = cones[place]
        number = pd.to_numeric(label, errors="coerce")
        if label.startswith("row "):
            return 2, place, "", ""
        return int(np.isnan(number)), float(np.nan_to_num(number)), label, held[place]

    cones = [str(label) for label in table["cone"]]
    held = [repr(row) for row in table.itertuples(index=False, name=None)]
    return np.array(sorted(range(len(table)), key=rank), dtype=np.intp)


def _latest(recipes: pd.DataFrame) -> pd.Series | None:
    """Give the recipe that the printer was last set up for."""
    if not len(recipes):
        return None
    numbers = pd.to_numeric(recipes["cone"], errors="coerce").to_numpy(dtype=float)
    known = bool(np.isfinite(numbers).all())
    return recipes.iloc[int(np.argmax(numbers)) if known else -1].drop("cone")


def _recipes(
    plan: Plan, frame: pd.DataFrame, labels: Labels, problems: list[Problem], notes: list[str]
) -> tuple[pd.DataFrame, npt.NDArray[np.bool_]]:
    """Give the variables' columns, typed, and the rows whose level is not in the plan.

    A level may have left the plan since the cone was made, so it is no error.
    """
    columns: dict[str, pd.Series] = {}
    strange = np.zeros(len(frame), dtype=bool)
    blank = pd.Series(np.nan, index=frame.index, dtype=object)
    for name, variable in plan.variables.items():
        values = frame[name] if name in frame else blank
        if variable.numeric:
            numbers = pd.to_numeric(values, errors="coerce").astype(float)
            for row in np.flatnonzero((values.notna() & numbers.isna()).to_numpy(dtype=bool)):
                found = repr(values.iloc[row])
                problems.append(Problem(f"trials, row {row}, column {name}", found, "a number"))
            columns[name] = numbers
            continue
        known = {str(level) for level in variable.grid}
        words = [None if pd.isna(word) else str(word) for word in values]
        other = np.array([word is not None and word not in known for word in words], dtype=bool)
        for row in np.flatnonzero(other):
            notes.append(f"{labels[row]}: {name} {words[row]!r} is not in the plan; not used.")
        strange |= other
        words = [None if gone else word for word, gone in zip(words, other, strict=True)]
        columns[name] = pd.Series(words, index=frame.index, dtype=object)
    return pd.DataFrame(columns, index=frame.index), strange


def _metrics(plan: Plan, frame: pd.DataFrame, problems: list[Problem]) -> pd.DataFrame:
    """Give the metrics' columns as floats; infinite values count as missing."""
    columns: dict[str, pd.Series] = {}
    for name in plan.metrics:
        if name not in frame:
            columns[name] = pd.Series(np.nan, index=frame.index, dtype=float)
            continue
        numbers = pd.to_numeric(frame[name], errors="coerce").astype(float)
        for row in np.flatnonzero((frame[name].notna() & numbers.isna()).to_numpy(dtype=bool)):
            found = repr(frame[name].iloc[row])
            problems.append(Problem(f"trials, row {row}, column {name}", found, "a number"))
        columns[name] = numbers.where(np.isfinite(numbers))
    return pd.DataFrame(columns, index=frame.index)


def _status(frame: pd.DataFrame, metrics: pd.DataFrame, problems: list[Problem]) -> pd.Series:
    """Give each row's status; without such a column, a row with a metric is a measured one."""
    if "status" not in frame:
        has = metrics.notna().any(axis=1).to_numpy(dtype=bool)
        return pd.Series(np.where(has, "measured", "planned"), index=frame.index, dtype=object)
    status = frame["status"].astype(object)
    for row in np.flatnonzero(~status.isin(STATUSES).to_numpy(dtype=bool)):
        problems.append(
            Problem(
                f"trials, row {row}, column status",
                repr(status.iloc[row]),
                "one of " + ", ".join(STATUSES),
            )
        )
    return status


def _labels(frame: pd.DataFrame, column: str) -> npt.NDArray[np.object_]:
    """Give a label a row; a row without one stands for itself."""
    own = np.array([f"row {place}" for place in range(len(frame))], dtype=object)
    if column not in frame:
        return own
    pairs = zip(own, frame[column], strict=True)
    return np.array(
        [mine if pd.isna(value) else _label(value) for mine, value in pairs], dtype=object
    )


def _label(value: object) -> str:
    """Write a cone's or session's name; a number beside blank cells has become a float."""
    if isinstance(value, float) and value.is_integer():
        return str(int(value))
    return str(value)


def _complete(
    plan: Plan,
    space: Space,
    table: pd.DataFrame,
    strange: npt.NDArray[np.bool_],
    labels: Labels,
    notes: list[str],
    problems: list[Problem],
) -> npt.NDArray[np.bool_]:
    """Fill from `before`, blank what is inactive, say which rows lack a value.

    A variable that no measured cone has a value for is a problem, not a note: the variable is
    new or renamed, and everything that was learnt would be passed over.
    """
    tried = table["status"].isin(["measured", "failed"]).to_numpy(dtype=bool) & ~strange
    for name, variable in plan.variables.items():
        if variable.before is not None:
            value = float(variable.before) if variable.numeric else str(variable.before)
            table[name] = table[name].where(table[name].notna(), value)
    recipes = table[list(plan.variables)]
    active = space.active(recipes) if len(recipes) else recipes.notna()
    complete = ~strange
    for name in plan.variables:
        here = active[name].to_numpy(dtype=bool)
        table[name] = table[name].where(here, np.nan if plan.variables[name].numeric else None)
        lacking = here & table[name].isna().to_numpy(dtype=bool)
        complete &= ~lacking
        if (tried & here).any() and lacking[tried & here].all():
            problems.append(
                Problem(
                    f"trials, column {name}",
                    "no value in any measured or failed row",
                    f"a value wherever {name} exists",
                    f"If it is new, say in the plan what earlier cones had: before = ... in "
                    f"[variables.{name}]. If it was renamed, rename the column.",
                )
            )
        asked = lacking & ~strange & (table["status"] != "set aside").to_numpy(dtype=bool)
        if asked.any():
            first = ", ".join(labels[row] for row in np.flatnonzero(asked)[:5])
            more = ", ..." if asked.sum() > 5 else ""
            notes.append(f"{first}{more}: no value for {name}, so not used.")
    return complete
