"""Write the demo's table and raw files anew: ``python demo_trials/make_demo.py``.

Invented data from a fixed seed; every run writes the same bytes. Files of an earlier run are
replaced, nothing else in the folder is touched.
"""

from __future__ import annotations

import csv
import io
import math
import shutil
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))  # run as a script

from demo_trials import rig, writers
from demo_trials.history import CONES, PLATE_DAYS, REPEATS, SESSIONS, Repeat, Session
from demo_trials.physics import Spread, build, prints, weakness

__all__ = ["SEED", "VARIABLES", "contents", "main", "minutes", "outcome", "sitting"]

SEED = 60
"""Seed of everything that chance decides here."""

VARIABLES = (
    "process",
    "profile",
    "ribs",
    "wall_thickness",
    "layer_height",
    "coats",
    "resin",
    "exposure",
    "cure_time",
    "nozzle_temperature",
    "line_width",
)
"""The plan's variables, in plan order."""

_COLUMNS = (
    "cone",
    "status",
    "plate",
    *VARIABLES,
    "session",
    "age_days",
    "light_hours",
    "mass_g",
    "minutes",
    "note",
    "why",
    "files",
    "origin",
)
_PRINT, _SITTING, _MOUNTING = 1, 2, 3  # independent streams of chance


def minutes(settings: Mapping[str, Any]) -> float:
    """Minutes at and around the printer for one recipe, as the plan's effort formula."""
    layers = 18.0 / settings["layer_height"]
    if settings["process"] == "resin":
        machine = layers * (settings["exposure"] + 7.0) / 60.0 + settings["cure_time"]
    else:
        machine = 0.5 * layers * settings["wall_thickness"] / settings["line_width"]
    return float(machine + 20.0 * settings["coats"])


def outcome(number: int) -> tuple[bool, Spread, float]:
    """Draw what became of one print.

    Parameters
    ----------
    number : int
        The cone.

    Returns
    -------
    bool
        Whether it printed.
    Spread
        How it departs from its recipe.
    float
        Minutes it took over those foretold.
    """
    chance = rig.stream(SEED, _PRINT, number)
    printed = prints(CONES[number - 1].settings, chance)
    return printed, rig.print_spread(chance), 1.0 + 0.03 * float(rig.normal(chance, 1)[0])


def sitting(index: int) -> rig.Rig:
    """Draw the rig of one session, counted from 0 in `SESSIONS`."""
    return rig.session_rig(rig.stream(SEED, _SITTING, index))


def contents() -> dict[str, bytes]:
    """Make the demo.

    Returns
    -------
    dict of str to bytes
        Path below this folder (with forward slashes) to content.
    """
    files: dict[str, bytes] = {}
    rows: list[dict[str, Any]] = []
    for number, made in enumerate(CONES, start=1):
        printed, spread, slower = outcome(number)
        row = {"cone": number, "plate": made.plate, **made.settings, "note": made.note}
        row["minutes"] = round(minutes(made.settings) * slower)
        if not printed:
            rows.append(row | {"status": "failed", "why": weakness(made.settings)})
            continue
        heard = [Repeat(number, made.session, note=made.note)]
        heard += [repeat for repeat in REPEATS if repeat.cone == number]
        for repeat in heard:
            rows.append(row | _measure(repeat, made.settings, spread, files))
    files["trials.csv"] = _table(rows)
    return files


def _measure(
    repeat: Repeat, settings: Mapping[str, Any], spread: Spread, files: dict[str, bytes]
) -> dict[str, Any]:
    """Measure one cone once: add its files, give its cells of the table."""
    index = next(i for i, session in enumerate(SESSIONS) if session.name == repeat.session)
    session = SESSIONS[index]
    room = sitting(index)
    cone = build(settings, spread, light_hours=repeat.light_hours, warmer=room.warmer)
    traces = rig.observe(cone, room, rig.stream(SEED, _MOUNTING, index, repeat.cone))
    folder = f"raw/cone_{repeat.cone:02d}"
    written = {
        f"{folder}/{session.name}-{name}": content
        for name, content in _write(traces, session, repeat.cone).items()
    }
    files.update(written)
    plate = CONES[repeat.cone - 1].plate
    return {
        "status": "measured",
        "session": session.name,
        "age_days": session.day - PLATE_DAYS[plate],
        "light_hours": repeat.light_hours,
        "mass_g": f"{1000.0 * cone.mass:.2f}",
        "note": repeat.note,
        "files": " ".join(written),
    }


def _write(traces: rig.Traces, session: Session, number: int) -> dict[str, bytes]:
    """Write one measurement in the style of its session."""
    title = f"kitchen radio, 65 mm cone {number}, {session.name}, on axis, fixed drive"
    if session.style == "tabs":
        texts = writers.tabs(traces, title)
    else:
        texts = writers.semicolons(traces, title, session.style)
    return texts | {"impulse.wav": writers.wav(traces.samples)}


def _table(rows: list[dict[str, Any]]) -> bytes:
    """Write ``trials.csv``: one row a measurement, one a failed print."""
    buffer = io.StringIO()
    table = csv.DictWriter(buffer, _COLUMNS, restval="", lineterminator="\n")
    table.writeheader()
    for row in sorted(rows, key=lambda row: (row["cone"], row.get("age_days", math.inf))):
        table.writerow(row | {"origin": "invented"})
    return buffer.getvalue().encode("ascii")


def main(folder: Path | None = None) -> None:
    """Write every file of the demo.

    Parameters
    ----------
    folder : Path, optional
        Where to write; the folder of this script if not given.
    """
    target = Path(__file__).resolve().parent if folder is None else folder
    made = contents()
    if (target / "raw").exists():
        shutil.rmtree(target / "raw")
    for name, content in made.items():
        path = target / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)


if __name__ == "__main__":
    main()
