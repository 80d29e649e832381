"""An experiment with a cone in every state, and its table as a spreadsheet."""

from __future__ import annotations

import csv
import io
import shutil
from datetime import UTC, datetime

import pytest

from experiments.exchange import export_csv
from experiments.ledger import Ledger
from experiments.records import StoredCurve
from tests.experiments.conftest import FILAMENT, PLAN, RESIN, ticking


def texts(problems):
    return " | ".join(str(problem) for problem in problems)


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


@pytest.fixture(scope="session")
def _full(tmp_path_factory):
    """One cone in every state; cone 3 measured twice."""
    folder = tmp_path_factory.mktemp("full") / "radio"
    with Ledger.create(folder, PLAN, who="maker", now=ticking()) as ledger:
        ledger.plan_cones([RESIN, FILAMENT, RESIN])
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
        ledger.add({**FILAMENT, "wall": 0.637}, mass=1.5)
        ledger.add(FILAMENT)
        ledger.set_aside(5, why="lent")
    return folder


@pytest.fixture
def full(_full, tmp_path):
    """A copy of it that a test may change."""
    later = ticking(datetime(2031, 3, 6, 9, 0, tzinfo=UTC))
    folder = shutil.copytree(_full, tmp_path / "radio")
    with Ledger.open(folder, who="maker", now=later) as ledger:
        yield ledger


@pytest.fixture
def sheet(full, tmp_path):
    return Sheet(export_csv(full, tmp_path / "table.csv"))
