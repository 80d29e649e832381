"""What the ledger hands out: plain, frozen records of cones, measurements and curves."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

__all__ = [
    "STATUSES",
    "Caution",
    "Cone",
    "Curve",
    "Measurement",
    "StoredCurve",
    "caution_text",
    "cautions_of",
]

STATUSES = ("planned", "printed", "measured", "failed", "set aside")
"""The states of a cone."""


@dataclass(frozen=True)
class Caution:
    """A warning that belongs to one measurement.

    Parameters
    ----------
    code : str
        A short word for programs, such as ``low_level``.
    text : str
        One plain sentence for people.
    """

    code: str
    text: str

    def __str__(self) -> str:
        return self.text


def caution_text(cautions: Iterable[Caution]) -> str:
    """Write warnings as the store keeps them."""
    return json.dumps([[one.code, one.text] for one in cautions], ensure_ascii=False)


def cautions_of(text: str) -> tuple[Caution, ...]:
    """Read warnings as the store keeps them."""
    return tuple(Caution(code, words) for code, words in json.loads(text))


@dataclass(frozen=True)
class StoredCurve:
    """A raw measurement file on its way into the ledger.

    Parameters
    ----------
    name : str
        The file's name, without its folder.
    kind : str
        ``response``, ``distortion``, ``impulse`` or ``sweep``.
    content : bytes
        The file, byte for byte.
    options : dict
        How it was read (such as the excitation of a sweep recording), so that it can be read
        again in the same way. Plain JSON values.
    """

    name: str
    kind: str
    content: bytes = field(repr=False)
    options: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Curve:
    """A raw measurement file out of the ledger, its bytes checked against their SHA-256.

    Parameters
    ----------
    cone, measurement : int
        The cone, and the measurement of it that brought the file.
    session : str
        The sitting at the test platform.
    name, kind, content, options
        As in `StoredCurve`.
    sha256 : str
        Hexadecimal digest of the content.
    """

    cone: int
    measurement: int
    session: str
    name: str
    kind: str
    content: bytes = field(repr=False)
    sha256: str
    options: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Measurement:
    """One mounting of one cone in one session, at one age.

    Parameters
    ----------
    id : int
        Its number in the ledger.
    cone : int
        The cone.
    session : str
        The sitting at the test platform.
    at : str
        When it was recorded, ISO 8601, UTC.
    age_days, light_hours : float or None
        Age of the cone and hours in the light; None where nobody said.
    temperature_c, humidity_percent : float or None
        Of the room: degrees Celsius, and relative humidity; None where nobody said.
    note : str
        What the maker remarked.
    values : dict
        Metric to value in the plan's unit at the time; None where the data cannot carry it.
    by_hand : frozenset of str
        The metrics that a person entered.
    warnings : tuple of Caution
        What the measurement cannot carry, and why.
    files : tuple of str
        Names of the raw files.
    """

    id: int
    cone: int
    session: str
    at: str
    age_days: float | None
    light_hours: float | None
    temperature_c: float | None
    humidity_percent: float | None
    note: str
    values: dict[str, float | None]
    by_hand: frozenset[str]
    warnings: tuple[Caution, ...]
    files: tuple[str, ...]


@dataclass(frozen=True)
class Cone:
    """One printed (or planned) object.

    Parameters
    ----------
    number : int
        The number on its label.
    status : str
        One of `STATUSES`.
    settings : dict
        Its recipe under the present plan; inactive variables are absent.
    plate : int or None
        The print job.
    origin : str
        ``proposed``, ``added`` (made outside any proposal) or ``imported`` (from a spreadsheet).
    reason : str
        Why it was proposed, one sentence.
    proposal : dict
        What the proposal stood on (seed, versions, digests of plan and data); empty for others.
    mass, minutes : float or None
        Mass in grams and minutes of printing, where recorded.
    why : str
        Why it failed or was set aside.
    note : str
        What the maker remarked.
    planned_at, printed_at : str or None
        When that was recorded, ISO 8601, UTC.
    measurements : int
        How often it was measured.
    """

    number: int
    status: str
    settings: dict[str, Any]
    plate: int | None
    origin: str
    reason: str
    proposal: dict[str, Any]
    mass: float | None
    minutes: float | None
    why: str
    note: str
    planned_at: str | None
    printed_at: str | None
    measurements: int
