"""An experiment with a cone in every state, and its table as a spreadsheet."""

from __future__ import annotations

import csv
import io

import pytest

from experiments.exchange import export_csv
from experiments.records import StoredCurve


class Sheet:
    """A CSV file that a test edits as a person would."""

    def __init__(self, path, delimiter=","):
        self.path, self.delimiter = path, delimiter
        text = path.read_text(encoding="utf-8-sig")
        self.rows = list(csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter))
        self.columns = list(self.rows[0]) if self.rows else text.strip().split(delimiter)

    def save(self):
        with self.path.open("w", encoding="utf-8", newline="") as file:
            writer = csv.DictWriter(file, self.columns, delimiter=self.delimiter)
            writer.writeheader()
            writer.writerows(self.rows)
        return self.path


@pytest.fixture
def read_sheet_rows():
    return Sheet


@pytest.fixture
def full(ledger, resin, filament):
    """One cone in every state; cone 3 measured twice."""
    ledger.plan_cones([resin, filament, resin])
    ledger.failed(2, why="warped", note="-lifted at one side")
    ledger.printed(3, mass=2.25, note="=smooth")
    curve = StoredCurve("r.txt", "response", b"20 80")
    ledger.measure(
        3, session="monday", curves=[curve], values={"upper_limit": 1 / 3, "thd_peak": None}
    )
    ledger.measure(
        3,
        session="größer",
        values={"upper_limit": 9.5, "thd_peak": 1.25},
        age_days=30,
        note="@dusk",
    )
    ledger.add({**filament, "wall": 0.637}, mass=1.5)
    ledger.add(filament)
    ledger.set_aside(5, why="lent")
    return ledger


@pytest.fixture
def sheet(full, tmp_path):
    return Sheet(export_csv(full, tmp_path / "table.csv"))
