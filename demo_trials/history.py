"""The workshop's story so far: which cones were printed, in which order, and heard when.

Invented, like everything here. First one knob at a time around a starting recipe, then another
process, then some spread. What printed and what failed is decided by chance in `make_demo`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

__all__ = ["CONES", "PLATE_DAYS", "REPEATS", "SESSIONS", "Print", "Repeat", "Session"]

Settings = dict[str, Any]


@dataclass(frozen=True)
class Session:
    """One sitting: its day, and how the platform's program wrote files then."""

    name: str
    day: int
    style: str


SESSIONS = (
    Session("evening-1", 2, "tabs"),
    Session("evening-2", 9, "tabs"),
    Session("evening-3", 17, "latin-1"),
    Session("evening-4", 30, "tabs"),
    Session("evening-5", 44, "utf-8-sig"),
    Session("evening-6", 65, "utf-8-sig"),
)
"""In order of time; the reference cone 1 is heard in each."""

PLATE_DAYS = dict(
    enumerate(
        (1, 6, 6, 7, 8, 13, 14, 16, 24, 25, 26, 27, 28, 37, 38, 39, 40, 41, 43, 58, 60, 62, 63),
        start=1,
    )
)
"""Day on which each plate was printed."""


@dataclass(frozen=True)
class Print:
    """One cone: plate, recipe, the session in which it was first heard, a note."""

    plate: int
    settings: Settings
    session: str
    note: str = ""


@dataclass(frozen=True)
class Repeat:
    """A kept cone heard again, after so many hours on the window sill."""

    cone: int
    session: str
    light_hours: float = 0.0
    note: str = "heard again, kept in the dark"


def _resin(**changes: Any) -> Settings:
    """Give the starting recipe with some settings changed, in plan order."""
    start: Settings = {
        "process": "resin",
        "profile": "straight",
        "ribs": None,
        "wall_thickness": 0.80,
        "layer_height": 0.05,
        "coats": 0,
        "resin": "clear",
        "exposure": 2.5,
        "cure_time": 10,
    }
    return _active(start | changes)


def _filament(**changes: Any) -> Settings:
    """Give the first filament recipe with some settings changed, in plan order."""
    start: Settings = {
        "process": "filament",
        "profile": "straight",
        "ribs": None,
        "wall_thickness": 0.90,
        "layer_height": 0.15,
        "coats": 0,
        "nozzle_temperature": 215,
        "line_width": 0.40,
    }
    return _active(start | changes)


def _active(settings: Settings) -> Settings:
    return {name: value for name, value in settings.items() if value is not None}


_TOUGH_CURVED = _resin(
    resin="tough", profile="curved", layer_height=0.075, exposure=3.4, cure_time=35
)
_CLEAR_CURVED = _resin(
    profile="curved", wall_thickness=0.70, layer_height=0.075, cure_time=38, coats=1
)
_HEAVY = _resin(resin="stiff", wall_thickness=1.10, exposure=3.6, cure_time=6, coats=1)
_FILAMENT_RIBBED = _filament(
    profile="ribbed", ribs=8, layer_height=0.20, nozzle_temperature=220, coats=1
)
_FILAMENT_COATED = _filament(
    profile="curved", wall_thickness=1.10, nozzle_temperature=205, coats=3
)

CONES: tuple[Print, ...] = (
    Print(1, _resin(), "evening-1", "starting recipe, kept as the reference cone"),
    Print(1, _resin(cure_time=0), "evening-1", "washed and dried only, still tacky"),
    Print(1, _resin(cure_time=25), "evening-1"),
    Print(2, _resin(wall_thickness=0.60), "evening-2"),
    Print(2, _resin(wall_thickness=1.00), "evening-2"),
    Print(3, _resin(layer_height=0.10), "evening-2", "steps can be felt"),
    Print(4, _resin(exposure=1.6), "evening-2"),
    Print(5, _resin(resin="tough"), "evening-2", "new bottle"),
    Print(6, _resin(resin="stiff", exposure=3.0), "evening-3", "filled resin, stirred well"),
    Print(7, _resin(coats=1), "evening-3", "first try with the damping lacquer"),
    Print(7, _resin(profile="ribbed", ribs=6), "evening-3"),
    Print(7, _resin(), "evening-3", "starting recipe printed again"),
    Print(8, _resin(wall_thickness=0.50, layer_height=0.10, exposure=1.5), "evening-3"),
    Print(9, _filament(), "evening-4", "borrowed the filament printer"),
    Print(10, _filament(nozzle_temperature=230), "evening-4"),
    Print(11, _filament(nozzle_temperature=195, layer_height=0.20), "evening-4"),
    Print(12, _filament(profile="curved", layer_height=0.10), "evening-4"),
    Print(13, _filament(wall_thickness=0.60, line_width=0.30, coats=2), "evening-4"),
    Print(14, _resin(profile="curved", cure_time=4), "evening-5"),
    Print(15, _resin(profile="ribbed", ribs=10, wall_thickness=0.65, exposure=3.2), "evening-5"),
    Print(16, _resin(resin="stiff", layer_height=0.075, exposure=2.0, coats=2), "evening-5"),
    Print(17, _TOUGH_CURVED, "evening-5"),
    Print(18, _HEAVY, "evening-5", "heavy"),
    Print(19, _resin(resin="stiff", layer_height=0.10, exposure=2.2, cure_time=15), "evening-5"),
    Print(20, _FILAMENT_RIBBED, "evening-6"),
    Print(21, _FILAMENT_COATED, "evening-6"),
    Print(22, _CLEAR_CURVED, "evening-6"),
    Print(23, _TOUGH_CURVED, "evening-6", "cone 22's recipe printed again"),
)
"""Cone 1 first. Whether a cone printed is drawn when the demo is made."""

REPEATS: tuple[Repeat, ...] = (
    *(Repeat(1, session.name, note="reference") for session in SESSIONS[1:]),
    Repeat(5, "evening-4"),
    Repeat(10, "evening-6"),
    Repeat(2, "evening-5", 260.0, "heard again after weeks on the window sill"),
    Repeat(8, "evening-6", 420.0, "heard again after weeks on the window sill"),
)
"""Kept cones heard in later sessions."""
