"""A small invented experiment for the tests of the ledger and of what is built on it."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from experiments.ledger import Ledger
from experiments.schema import STATE_TABLES
from tests import raw_files

PLAN = """
name = "window-sill radio"
seed = 3

[variables.process]
kind = "choice"
levels = ["resin", "filament"]

[variables.cure_time]
kind = "continuous"
unit = "min"
low = 0
high = 40
step = 1
only_when = { process = ["resin"] }

[variables.wall]
kind = "continuous"
unit = "mm"
low = 0.2
high = 1.0
step = 0.1

[variables.ribs]
kind = "integer"
low = 0
high = 8

[metrics.upper_limit]
from = "response"
unit = "kHz"
goal = "maximise"
poor = 5.0
good = 14.0

[metrics.thd_peak]
from = "distortion"
goal = "minimise"
poor = 5.0
good = 0.5

[metrics.mass]
from = "hand"
unit = "g"

[sessions]
reference_cone = 1
"""

RESIN = {"process": "resin", "cure_time": 12, "wall": 0.4, "ribs": 3}
FILAMENT = {"process": "filament", "wall": 0.6, "ribs": 0}


@pytest.fixture
def plan_text() -> str:
    return PLAN


@pytest.fixture
def resin() -> dict[str, object]:
    return dict(RESIN)


@pytest.fixture
def filament() -> dict[str, object]:
    return dict(FILAMENT)


def ticking(start: datetime = datetime(2031, 3, 5, 9, 0, tzinfo=UTC)) -> Callable[[], datetime]:
    """Give a clock that goes on by one second at every look."""
    state = {"now": start}

    def now() -> datetime:
        state["now"] += timedelta(seconds=1)
        return state["now"]

    return now


@pytest.fixture
def clock() -> Callable[[], datetime]:
    return ticking()


@pytest.fixture
def ledger(tmp_path: Path, clock: Callable[[], datetime]) -> Iterator[Ledger]:
    with Ledger.create(tmp_path / "radio", PLAN, who="maker", now=clock) as made:
        yield made


@pytest.fixture
def dump() -> Callable[[Ledger], dict[str, list[tuple[object, ...]]]]:
    """Read every row of every state table, with SQLite alone."""

    def read(ledger: Ledger) -> dict[str, list[tuple[object, ...]]]:
        connection = sqlite3.connect(ledger.folder / "experiment.db")
        try:
            return {
                table: connection.execute(f"SELECT * FROM {table} ORDER BY id").fetchall()
                for table in STATE_TABLES
            }
        finally:
            connection.close()

    return read


@pytest.fixture
def response(tmp_path: Path) -> Path:
    """A low-pass at 8 kHz."""
    return raw_files.write_response(tmp_path / "response.txt")


@pytest.fixture
def distortion(tmp_path: Path) -> Path:
    """Total harmonic distortion at five frequencies."""
    return raw_files.write_distortion(tmp_path / "distortion.txt")


@pytest.fixture
def recording(tmp_path: Path) -> Path:
    """A sweep through a low-pass with a little distortion."""
    return raw_files.write_recording(tmp_path / "take.wav")


@pytest.fixture
def commas(tmp_path: Path) -> Path:
    """A response whose commas may stand for thousands."""
    path = tmp_path / "spl.txt"
    path.write_text(raw_files.COMMAS)
    return path
