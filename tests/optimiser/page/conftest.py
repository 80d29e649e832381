"""A small experiment behind the page."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from experiments.ledger import Ledger
from optimiser.page import call, work
from tests.bench_page import PLAN, Browser, opened


@pytest.fixture(scope="session")
def _stores(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two experiments to copy: one without cones, one with a cone of each state but measured."""
    folder = tmp_path_factory.mktemp("stores")
    Ledger.create(folder / "empty", PLAN).close()
    shutil.copytree(folder / "empty", folder / "begun")
    with Ledger.open(folder / "begun") as ledger:
        ledger.plan_cones(
            [
                {"process": "resin", "wall": 0.5, "cure_time": 10},
                {"process": "filament", "wall": 0.7},
            ],
            reason=["It is far from all others.", "It tries filament."],
        )
        ledger.add({"process": "resin", "wall": 0.4, "cure_time": 5}, mass=2.4)
        ledger.add({"process": "filament", "wall": 0.3}, status="failed", why="warped")
    return folder


@pytest.fixture
def empty(_stores: Path, tmp_path: Path) -> Path:
    """The folder of an experiment without cones."""
    return Path(shutil.copytree(_stores / "empty", tmp_path / "radio"))


@pytest.fixture
def browser(_stores: Path, tmp_path: Path) -> Iterator[Browser]:
    """A browser at the page of an experiment: cones 1 and 2 planned, 3 printed, 4 failed."""
    yield from opened(Path(shutil.copytree(_stores / "begun", tmp_path / "bench")))


@pytest.fixture
def still(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let long work rest until a test does it (`Job.run`): models are fitted only where needed."""
    monkeypatch.setattr(work, "WORKERS", 0)
    monkeypatch.setattr(call, "PATIENCE", 0.0)


@pytest.fixture
def ours(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where temporary folders are made."""
    place = tmp_path / "temporary"
    place.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(place))
    return place
