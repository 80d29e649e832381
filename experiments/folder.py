"""The folder of an experiment: what lies in it, and how a new one comes to be."""

from __future__ import annotations

from pathlib import Path

from experiments.errors import LedgerError, Problem
from experiments.places import CARDS, PLAN_FILE, STORE_FILE
from experiments.plan import Plan
from experiments.store import Store

__all__ = ["CARDS", "PLAN_FILE", "STORE_FILE", "found_experiment", "no_experiment"]


def found_experiment(folder: Path, plan_text: str) -> None:
    """Write the plan, an empty store and the folder of the cards; all of it or nothing.

    Parameters
    ----------
    folder : Path
        A new folder, or one that holds no experiment yet.
    plan_text : str
        The plan as TOML.

    Raises
    ------
    PlanError
        If the plan is not valid.
    LedgerError
        If the folder holds an experiment already, or cannot be written.
    """
    Plan.from_text(plan_text, source=PLAN_FILE)
    _claim(folder, plan_text)
    try:
        Store.create(folder / STORE_FILE)
        (folder / CARDS).mkdir(exist_ok=True)
    except BaseException:
        (folder / PLAN_FILE).unlink(missing_ok=True)
        (folder / STORE_FILE).unlink(missing_ok=True)
        raise


def _claim(folder: Path, text: str) -> None:
    """Write the plan where no experiment is; of two that try at once, one wins."""
    if (folder / STORE_FILE).exists():
        raise _taken(folder / STORE_FILE)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / PLAN_FILE).open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
    except FileExistsError:
        raise _taken(folder / PLAN_FILE) from None
    except OSError as error:
        raise LedgerError(
            Problem(str(folder), f"trouble: {error.strerror or error}", "a place to write to")
        ) from error


def _taken(path: Path) -> LedgerError:
    return LedgerError(
        Problem(str(path), "an experiment", "a folder without one", "Choose another folder.")
    )


def no_experiment(path: Path, found: str) -> LedgerError:
    """Make the error for a folder that holds no experiment."""
    return LedgerError(
        Problem(
            str(path),
            found,
            "the folder of an experiment, with experiment.toml and experiment.db",
            "Begin one with `coneloop start FOLDER`, or name its folder with `--in FOLDER`.",
        )
    )
