"""The circumstances of a measurement that are numbers: age of the cone, climate of the room."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from experiments.entries import finite_number

__all__ = ["CIRCUMSTANCES", "Circumstance", "circumstances", "climate_remarks"]

_ROOM = (0.0, 50.0)
_DRY = 5.0


@dataclass(frozen=True)
class Circumstance:
    """One such number: a column of the store, of the table of trials and of a spreadsheet.

    Parameters
    ----------
    words : str
        What people call it.
    unit : str
        Its unit.
    least, most : float or None
        Values outside cannot be meant.
    """

    words: str
    unit: str
    least: float
    most: float | None = None


CIRCUMSTANCES: Mapping[str, Circumstance] = {
    "age_days": Circumstance("age", "days", 0.0),
    "light_hours": Circumstance("light", "hours", 0.0),
    # No printed cone and no microphone is used outside; common practice, no source.
    "temperature_c": Circumstance("temperature", "°C", -100.0, 200.0),
    "humidity_percent": Circumstance("humidity", "%", 0.0, 100.0),
}
"""By column name, in the order of the columns."""


def circumstances(given: Mapping[str, Any]) -> dict[str, float | None]:
    """Check what was given of each circumstance.

    Parameters
    ----------
    given : mapping
        By column name; what is missing, None or NaN was not given. Other keys are passed over.

    Returns
    -------
    dict of str to (float or None)
        Every circumstance.

    Raises
    ------
    LedgerError
        For a number that cannot be.
    """
    return {
        name: finite_number(
            given.get(name), f"{one.words} in {one.unit}", least=one.least, most=one.most
        )
        for name, one in CIRCUMSTANCES.items()
    }


def climate_remarks(given: Mapping[str, Any]) -> list[str]:
    """Say what is odd about temperature and humidity: another scale, a fraction.

    Parameters
    ----------
    given : mapping
        Sound numbers by column name, as `circumstances` gives them.

    Returns
    -------
    list of str
        A sentence for each, without the remedy.
    """
    warmth, wet = given.get("temperature_c"), given.get("humidity_percent")
    remarks = []
    if warmth is not None and not _ROOM[0] <= warmth <= _ROOM[1]:
        odd = f"temperature {warmth:.6g} °C is none of a room; degrees Celsius are meant"
        remarks.append(odd)
    if wet is not None and wet < _DRY:
        remarks.append(f"humidity {wet:.6g} % is very dry; percent are meant, not a fraction")
    return remarks
