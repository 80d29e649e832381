"""A finished experiment to learn from: its table, in the words and units of the present plan."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from experiments.definitions import definition_of
from experiments.errors import LedgerError, Problem, TrialsError
from experiments.ledger import Ledger
from experiments.unpacking import unpack

if TYPE_CHECKING:
    import pandas as pd

    from experiments.plan import Metric, Plan, Variable

__all__ = ["Brought", "Finished", "bring", "read_finished", "refuse_own", "unpack_finished"]


@dataclass(frozen=True)
class Finished:
    """A finished experiment as it is.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        Its table; what its own plan no longer names is left out.
    data : str
        The digest of its data.
    acts : frozenset of (int, str, str)
        Number, time and summary of what was recorded.
    """

    plan: Plan
    trials: pd.DataFrame
    data: str
    acts: frozenset[tuple[int, str, str]]


@dataclass(frozen=True)
class Brought:
    """What a finished experiment brings to the present one.

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


def read_finished(folder: Path) -> Finished:
    """Read the experiment of a folder that may be written to: opening a store does so."""
    with Ledger.open(folder) as ledger:
        trials = ledger.table(strict=False)
        return Finished(ledger.plan, trials, ledger.data_digest(), _acts(ledger))


def unpack_finished(archive: Path) -> Finished:
    """Read the experiment of an archive, which may come from a stranger.

    Parameters
    ----------
    archive : Path
        It is unpacked beside itself, verified as `experiments.unpacking.unpack` does.

    Raises
    ------
    ArchiveError
        If it is not as `coneloop pack` writes one.
    """
    folder = archive.with_name("earlier")
    unpack(archive, folder)
    return read_finished(folder)


def _acts(ledger: Ledger) -> frozenset[tuple[int, str, str]]:
    rows = ledger.history()[["id", "at", "summary"]].itertuples(index=False)
    return frozenset((int(number), str(at), str(summary)) for number, at, summary in rows)


def refuse_own(found: Finished, ledger: Ledger, where: str) -> None:
    """Refuse the present experiment as it was at some time: its cones would count twice.

    Raises
    ------
    LedgerError
    """
    if found.acts <= _acts(ledger):
        expected = "the archive of an earlier experiment"
        raise LedgerError(Problem(where, "the present experiment", expected))


def bring(found: Finished, plan: Plan, where: str) -> Brought:
    """Put a finished experiment into the words and units of the present plan.

    Parameters
    ----------
    found : Finished
    plan : Plan
        The present plan.
    where : str
        What to call the finished experiment in errors.

    Returns
    -------
    Brought

    Raises
    ------
    TrialsError
        If it lacks a variable.
    """
    theirs, trials = found.plan, found.trials
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
    record = {"name": theirs.name, "data": found.data, "cones": cones}
    return Brought(trials.rename(columns=renamed), notes, record)


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
