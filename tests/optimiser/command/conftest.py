"""A small experiment on disk, and a way to run the command line on it."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from experiments.ledger import Ledger
from optimiser.command import main

PLAN = """
name = "window-sill radio"
seed = 3

[variables.process]
kind = "choice"
levels = ["resin", "filament"]
cautions = { resin = "resin", filament = "filament" }

[variables.wall]
kind = "continuous"
unit = "mm"
low = 0.3
high = 1.2
step = 0.1

[variables.cure_time]
kind = "continuous"
unit = "min"
low = 0
high = 40
step = 0.5
only_when = { process = ["resin"] }

[metrics.upper_limit]
from = "response"
unit = "kHz"
goal = "maximise"
poor = 4.0
good = 14.0

[metrics.loss]
from = "hand"
unit = "%"
goal = "minimise"
poor = 6.0
good = 0.5

[effort]
minutes = "60 + cure_time"
"""

# Invented: a thicker wall reaches higher until it is too heavy, curing lowers the loss.
RECIPES = [
    {"process": "resin", "wall": 0.3, "cure_time": 5},
    {"process": "resin", "wall": 0.6, "cure_time": 20},
    {"process": "resin", "wall": 1.1, "cure_time": 35},
    {"process": "filament", "wall": 0.5},
    {"process": "filament", "wall": 0.9},
    {"process": "resin", "wall": 0.8, "cure_time": 10},
]


@dataclass(frozen=True)
class Told:
    """What a verb left behind."""

    status: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """The one JSON document on stdout."""
        return json.loads(self.out, parse_constant=_refuse)


def _refuse(word: str) -> None:
    raise AssertionError(f"{word} is no JSON")


@pytest.fixture(scope="session")
def run() -> Callable[..., Told]:
    """Run one verb: ``run("printed", 1, "--mass", 2)``."""

    def run(*words: object, typed: str | None = None) -> Told:
        result = CliRunner().invoke(
            main, [str(word) for word in words], input=typed, env={"COLUMNS": "80"}
        )
        assert result.exception is None or isinstance(result.exception, SystemExit)
        return Told(result.exit_code, result.stdout, result.stderr)

    return run


def write_response(path: Path, limit_hz: float) -> Path:
    """Write a second-order low-pass response with its fall near `limit_hz`; invented."""
    frequency = np.geomspace(50, 20000, 240)
    level = 85 - 10 * np.log10(1 + (frequency / limit_hz) ** 4)
    lines = [f"{f:.2f}\t{v:.3f}" for f, v in zip(frequency, level, strict=True)]
    path.write_text("\n".join(["* invented", "Hz\tdB", *lines]), encoding="utf-8")
    return path


@pytest.fixture
def response(tmp_path: Path) -> Path:
    """A raw response file."""
    return write_response(tmp_path / "cone_response.txt", 6000)


@pytest.fixture(scope="session")
def write_raw() -> Callable[[Path, float], Path]:
    """Write a raw response file: ``write_raw(path, limit_hz)``."""
    return write_response


@pytest.fixture(scope="session")
def small_plan() -> str:
    """The plan, weighed in place of a value typed in."""
    head, _, rest = PLAN.partition("[metrics.loss]")
    weighed = '[metrics.mass]\nfrom = "hand"\nunit = "g"\ngoal = "minimise"\npoor = 4\ngood = 1\n'
    return f"{head}{weighed}\n[effort]{rest.partition('[effort]')[2]}"


@pytest.fixture(scope="session")
def _measured(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Six measured cones, a failed one and a printed one."""
    folder = tmp_path_factory.mktemp("experiment") / "radio"
    with Ledger.create(folder, PLAN, who="tester") as ledger:
        for recipe in RECIPES:
            number = ledger.add(recipe, mass=2.0)
            wall, cure = float(recipe["wall"]), float(recipe.get("cure_time", 15))
            values = {
                "upper_limit": 11 - 12 * (wall - 0.7) ** 2 + 0.1 * (number % 3),
                "loss": 5 - 0.06 * cure + 0.2 * (number % 2),
            }
            ledger.measure(number, session="may", values=values)
        ledger.add(RECIPES[0], status="failed", why="tore")
        ledger.add(RECIPES[1])
    return folder


@pytest.fixture
def folder(_measured: Path, tmp_path: Path) -> Path:
    """A copy of the measured experiment that a test may change."""
    return Path(shutil.copytree(_measured, tmp_path / "radio"))


@pytest.fixture(scope="session")
def asked(run: Callable[..., Told], _measured: Path) -> Callable[..., Told]:
    """Ask the measured experiment what changes nothing, once: ``asked("knobs")``."""
    return cache(lambda *words: run(*words, "--in", _measured))


@pytest.fixture
def fresh(tmp_path: Path) -> Path:
    """An experiment without a cone."""
    folder = tmp_path / "fresh"
    Ledger.create(folder, PLAN, who="tester").close()
    return folder
