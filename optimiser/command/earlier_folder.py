"""An earlier experiment's folder, read without changing anything in it."""

from __future__ import annotations

import json
import shutil
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.definitions import definition_of
from experiments.errors import ExperimentError, LedgerError, Problem, TrialsError
from experiments.folder import PLAN_FILE, STORE_FILE
from experiments.ledger import Ledger

if TYPE_CHECKING:
    import pandas as pd

    from experiments.plan import Metric, Plan, Variable

__all__ = ["EarlierFolder", "read_earlier"]


@dataclass(frozen=True)
class EarlierFolder:
    """What a finished experiment brings.

    Parameters
    ----------
    trials : DataFrame
        Its table in the words and units of the present plan.
    notes : list of str
        What is left out, and why.
    record : dict
        By which a proposal says what it learned from: name, digest of the data, measured cones.
    """

    trials: pd.DataFrame
    notes: list[str]
    record: dict[str, Any]


def read_earlier(folder: Path, plan: Plan, own: Path) -> EarlierFolder:
    """Read an earlier experiment for `next --learn-from`.

    Parameters
    ----------
    folder : Path
        Where it lives.
    plan : Plan
        The present plan.
    own : Path
        Folder of the present experiment.

    Returns
    -------
    EarlierFolder

    Raises
    ------
    ExperimentError
        No experiment is there, it is the present one, or it lacks a variable.
    """
    where = f"--learn-from {folder}"
    if not (folder / PLAN_FILE).is_file() or not (folder / STORE_FILE).is_file():
        raise LedgerError(
            Problem(where, "no experiment", f"a folder with {PLAN_FILE} and {STORE_FILE}")
        )
    if folder.resolve() == own.resolve():
        raise LedgerError(Problem(where, "the present experiment", "the folder of an earlier one"))
    theirs, trials, digest = _copied(folder)
    problems = [
        problem
        for variable in plan.variables.values()
        if (problem := _lack(where, variable, theirs)) is not None
    ]
    if problems:
        raise TrialsError(*problems)
    notes = _strange(plan, theirs)
    for name, metric in plan.metrics.items():
        reason = _other(plan, metric, theirs)
        if reason:
            notes.append(f"{name} is not learnt from the earlier experiment: {reason}.")
            trials = trials.drop(columns=name, errors="ignore")
    renamed = {
        variable.was: name
        for name, variable in plan.variables.items()
        if name not in trials and variable.was in trials
    }
    cones = int(trials.loc[trials["status"] == "measured", "cone"].nunique())
    record = {"name": theirs.name, "data": digest, "cones": cones}
    return EarlierFolder(trials.rename(columns=renamed), notes, record)


def _copied(folder: Path) -> tuple[Plan, pd.DataFrame, str]:
    """Read plan, table and digest from a copy: opening a store writes to its folder."""
    with tempfile.TemporaryDirectory() as place:
        for name in (PLAN_FILE, STORE_FILE, f"{STORE_FILE}-wal"):
            if (folder / name).is_file():
                shutil.copyfile(folder / name, Path(place) / name)
        try:
            with Ledger.open(place) as ledger:
                return ledger.plan, ledger.table(strict=False), ledger.data_digest()
        except ExperimentError as error:
            told = [f"{folder}: {problem}".replace(f"{place}/", "") for problem in error.problems]
            raise type(error)(*told) from error


def _lack(where: str, variable: Variable, theirs: Plan) -> Problem | None:
    """Say why a variable cannot be taken from the earlier plan."""
    other = theirs.variables.get(variable.name) or theirs.variables.get(variable.was)
    place = f"{where}, variable {variable.name}"
    if other is None:
        if variable.before is not None:
            return None
        remedy = f"Say what its cones had: before = ... in [variables.{variable.name}]."
        return Problem(place, "no such variable", "one, or a value for its cones", remedy)
    if other.unit != variable.unit or other.numeric != variable.numeric:
        found, expected = _kind(other), _kind(variable)
        return Problem(place, found, f"{expected}, as in the present plan")
    return None


def _kind(variable: Variable) -> str:
    return f"numbers in {variable.unit or 'no unit'}" if variable.numeric else "words"


def _strange(plan: Plan, theirs: Plan) -> list[str]:
    """Tell of variables that only the earlier experiment has."""
    known = {*plan.variables, *(one.was for one in plan.variables.values())}
    other = [name for name, one in theirs.variables.items() if name not in known and len(one.grid)]
    if not other:
        return []
    listed = " and ".join(other)
    return [f"{listed} moved in the earlier experiment only: what it did there counts as noise."]


def _other(plan: Plan, metric: Metric, theirs: Plan) -> str:
    """Say how the earlier experiment's metric differs; nothing if it does not."""
    there = theirs.metrics.get(metric.name)
    if there is None:
        return "it has no such metric"
    if there.unit != metric.unit:
        return f"its unit is {there.unit or 'none'}, not {metric.unit or 'none'}"
    if _definition(theirs, there) != _definition(plan, metric):
        return "it is defined otherwise there"
    return ""


def _definition(plan: Plan, metric: Metric) -> dict[str, Any]:
    """Give what a metric means, whichever keys of the rig's files were pinned."""
    by_hand = metric.source == "hand"
    file = None if by_hand else metric.source
    text = definition_of(plan, metric, file, by_hand=by_hand)
    found: dict[str, Any] = json.loads(text or "{}")
    found.pop("pinned", None)
    return found
