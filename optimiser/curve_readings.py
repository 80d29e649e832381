"""Measured curves as lines that can be learnt from: each file of the ledger read once more."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from experiments.acoustics import Distortion, Impulse, Response
from experiments.errors import ExperimentError
from optimiser.heard import envelope_of, line_of
from optimiser.stored_curves import read_stored

if TYPE_CHECKING:
    from experiments.ledger import Ledger

__all__ = ["FAMILIES", "UNITS", "CurveReading", "CurveReadings", "curve_lines", "read_curves"]

Floats = npt.NDArray[np.float64]
Progress = Callable[[float, str], None]

FAMILIES = {
    "response": ("response",),
    "distortion": ("thd", "hd2", "hd3", "hd4", "hd5"),
    "decay": ("decay",),
}
"""Which curves are learnt together, for one file brings them."""

UNITS = {"response": "dB", "decay": "dB"} | dict.fromkeys(FAMILIES["distortion"], "%")


@dataclass(frozen=True)
class CurveReading:
    """One curve of one measurement.

    Parameters
    ----------
    measurement : int
        The measurement's number in the ledger.
    name : str
        ``response``, ``thd``, ``hd2`` to ``hd5`` or ``decay``.
    x, y : ndarray of shape (n,)
        Hz, or ms since the largest magnitude; dB (of a decay re that magnitude), or percent of
        the fundamental. `y` is NaN where it is not known.
    """

    measurement: int
    name: str
    x: Floats = field(repr=False)
    y: Floats = field(repr=False)


@dataclass(frozen=True)
class CurveReadings:
    """All curves of an experiment.

    Parameters
    ----------
    curves : list of CurveReading
    notes : list of str
        Files that could not be read.
    """

    curves: list[CurveReading]
    notes: list[str] = field(default_factory=list)


def read_curves(ledger: Ledger, *, progress: Progress | None = None) -> CurveReadings:
    """Read every measured cone's curves with the options that are stored with them.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    CurveReadings
        A response file counts before the response of a sweep recording, and so on.
    """
    counts = {cone.number: cone.measurements for cone in ledger.cones()}
    measured = {cone.number for cone in ledger.cones() if cone.status == "measured"}
    expected = max(sum(counts[number] for number in measured), 1)
    found: dict[tuple[int, str], CurveReading] = {}
    notes: list[str] = []
    seen: set[int] = set()
    for stored in ledger.iterate_curves():
        if stored.cone not in measured:
            continue
        seen.add(stored.measurement)
        if progress:
            progress(min(len(seen) / expected, 1.0), f"reading the curves of cone {stored.cone}")
        try:
            lines = curve_lines(read_stored(stored))
        except ExperimentError as error:
            notes.append(f"Cone {stored.cone}, {stored.name}: not used ({error}).")
            continue
        for name, (x, y) in lines.items():
            key = (stored.measurement, name)
            if key not in found or stored.kind != "sweep":
                found[key] = CurveReading(stored.measurement, name, x, y)
    return CurveReadings([found[key] for key in sorted(found)], notes)


def curve_lines(curves: Any) -> dict[str, tuple[Floats, Floats]]:
    """Give curves as read (by kind) as x and y by the names that `CurveReading` has."""
    lines: dict[str, tuple[Floats, Floats]] = {}
    for curve in curves.values():
        if isinstance(curve, Response):
            carried = curve.frequency >= curve.floor_hz
            lines["response"] = (curve.frequency[carried], curve.level[carried])
        elif isinstance(curve, Distortion):
            lines["thd"] = (curve.frequency, line_of(curve).y)
            for order, percent in curve.harmonics.items():
                if f"hd{order}" in UNITS:
                    lines[f"hd{order}"] = (curve.frequency, percent)
        elif isinstance(curve, Impulse):
            lines["decay"] = _decay(curve)
    return lines


def _decay(curve: Impulse) -> tuple[Floats, Floats]:
    """Give the envelope's level from the largest magnitude on, dB re that; as `decay_ms` reads."""
    line, envelope = line_of(curve), envelope_of(curve)
    start = int(np.argmax(np.abs(line.y)))
    peak = float(np.abs(line.y[start]))
    with np.errstate(divide="ignore", invalid="ignore"):
        level = 20.0 * np.log10(envelope[start:] / peak)
    return line.x[start:] - line.x[start], np.maximum(np.nan_to_num(level, nan=-300.0), -300.0)
