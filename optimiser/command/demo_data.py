"""Finding the demo's data and logging its trials."""

from __future__ import annotations

import csv
from collections.abc import Callable
from pathlib import Path
from typing import Any

import optimiser
from experiments.errors import LedgerError, Problem
from experiments.ledger import Ledger
from experiments.measuring import measure_files
from experiments.trials import is_mass

__all__ = ["demo_folder", "log_trials", "read_trials"]

Row = dict[str, str]


def demo_folder() -> Path:
    """Find the folder ``demo_trials``: inside the installed package, or beside it in a checkout.

    Raises
    ------
    LedgerError
        If neither is there.
    """
    package = Path(optimiser.__file__).parent
    for folder in (package / "demo_trials", package.parent / "demo_trials"):
        if (folder / "experiment.toml").is_file() and (folder / "trials.csv").is_file():
            return folder
    raise LedgerError(
        Problem(
            "demo_trials",
            "no demo data beside the program",
            "experiment.toml, trials.csv and raw files",
            "Install coneloop from its wheel, or from the whole repository.",
        )
    )


def read_trials(folder: Path) -> list[Row]:
    """Read the demo's trials, one dict a row, cells as text."""
    with (folder / "trials.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def log_trials(ledger: Ledger, folder: Path, tell: Callable[[float, str], None]) -> None:
    """Record every row: the cone when it first appears, then the measurement from raw files.

    Parameters
    ----------
    ledger : Ledger
        A new experiment with the demo's plan.
    folder : Path
        The demo's data.
    tell : callable
        Takes the share done and what is being done.
    """
    rows = read_trials(folder)
    known: dict[str, int] = {}
    for place, row in enumerate(rows):
        tell(place / len(rows), f"cone {row['cone']}")
        if row["cone"] not in known:
            known[row["cone"]] = _add(ledger, row)
        if row["status"] == "measured":
            _measure(ledger, folder, known[row["cone"]], row)


def _add(ledger: Ledger, row: Row) -> int:
    """Record a cone as printed or failed."""
    settings = {name: row[name] for name in ledger.plan.variables if row.get(name)}
    failed = row["status"] == "failed"
    return ledger.add(
        settings,
        status="failed" if failed else "printed",
        plate=int(row["plate"]) if row["plate"] else None,
        mass=_number(row["mass_g"]),
        minutes=_number(row["minutes"]),
        why=row["why"] if failed else "",
        note=row["note"],
    )


def _measure(ledger: Ledger, folder: Path, cone: int, row: Row) -> None:
    """Compute a measurement's metrics from its raw files and record it."""
    paths = [folder / name for name in row["files"].split()]
    measured = measure_files(ledger.plan, paths, hand=_by_hand(ledger, row))
    ledger.measure(
        cone,
        session=row["session"],
        curves=measured.curves,
        values=measured.values,
        warnings=measured.warnings,
        by_hand=measured.by_hand,
        age_days=_number(row["age_days"]),
        light_hours=_number(row["light_hours"]),
        note=row["note"],
    )


def _by_hand(ledger: Ledger, row: Row) -> dict[str, Any]:
    """Give the mass as the plan's hand metric, in grams."""
    value = _number(row["mass_g"])
    names = [name for name, metric in ledger.plan.metrics.items() if is_mass(metric)]
    return {name: value for name in names} if value is not None else {}


def _number(text: str) -> float | None:
    return float(text) if text else None
