"""An earlier experiment's folder, read without changing anything in it."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from experiments.errors import ExperimentError, LedgerError, Problem
from experiments.finished import Brought, Finished, bring, read_finished
from experiments.folder import PLAN_FILE, STORE_FILE

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["read_earlier"]


def read_earlier(folder: Path, plan: Plan, own: Path) -> Brought:
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
    Brought

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
    return bring(_copied(folder), plan, where)


def _copied(folder: Path) -> Finished:
    """Read a copy: opening a store writes to its folder."""
    with tempfile.TemporaryDirectory() as place:
        for name in (PLAN_FILE, STORE_FILE, f"{STORE_FILE}-wal"):
            if (folder / name).is_file():
                shutil.copyfile(folder / name, Path(place) / name)
        try:
            return read_finished(Path(place))
        except ExperimentError as error:
            told = [f"{folder}: {problem}".replace(f"{place}/", "") for problem in error.problems]
            raise type(error)(*told) from error
