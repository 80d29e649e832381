"""Changing the plan of an experiment from a form: whole and valid, or not at all."""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path

from experiments.errors import ConflictError, LedgerError, PlanError, Problem
from experiments.folder import PLAN_FILE
from experiments.outputs import write_whole
from experiments.plan import Plan, read_plan_text
from experiments.possible import impossible
from experiments.space import Space

__all__ = ["plan_digest", "plan_problems", "plan_text", "save_plan"]

_SAVING = threading.Lock()


def plan_text(folder: Path) -> str:
    """Give the text of the plan file as it is now.

    Raises
    ------
    LedgerError
        If it is a link: what lies behind it may be none of the experiment.
    PlanError
        If it cannot be read as text.
    """
    path = folder / PLAN_FILE
    if path.is_symlink():
        raise LedgerError(
            Problem(PLAN_FILE, "a link", "a file of its own", "Put the plan itself there.")
        )
    return read_plan_text(path)


def plan_digest(text: str) -> str:
    """Tell one text of a plan from another, comments included."""
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


def plan_problems(text: str) -> list[Problem | str]:
    """Find everything that is wrong with the text of a plan, as `check` does."""
    try:
        plan, problems = Plan.examine(text, PLAN_FILE)
    except PlanError as error:
        return list(error.problems)
    return [*problems, *([] if plan is None else impossible(Space(plan)))]


def save_plan(folder: Path, text: str, digest: str) -> Plan:
    """Put a new text in place of the plan.

    Parameters
    ----------
    folder : Path
        The folder of the experiment.
    text : str
        The whole file.
    digest : str
        `plan_digest` of the text that was edited.

    Returns
    -------
    Plan
        The new one.

    Raises
    ------
    PlanError
        With everything that is wrong; the file is as it was then.
    ConflictError
        If the file has another text by now.
    OutputError
        If it cannot be written.
    """
    problems = plan_problems(text)
    if problems:
        raise PlanError(*problems)
    with _SAVING:
        if plan_digest(plan_text(folder)) != digest:
            raise ConflictError(
                Problem(
                    PLAN_FILE,
                    "another plan than the one that was edited",
                    "the plan as you opened it",
                    "Nothing was written.",
                )
            )
        write_whole(folder / PLAN_FILE, text.encode("utf-8"))
    return Plan.from_text(text, source=PLAN_FILE)
