"""What the words above the columns say: what each column holds, and in which unit."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import Final

from experiments.acoustics.dialect import uncomment

__all__ = ["Role", "headings_of", "places", "role_of", "sampling_rate"]

_UNIT: Final = re.compile(
    r"(?<![a-z])(khz|hz|db|%|percent|prozent|ms|us|µs|μs|sec|seconds|milliseconds|s|degrees|deg|°|"
    r"radians|rad|mpa|pa|mv|v)(?![a-z])"
)
_RATIO: Final = re.compile(r"(?<![a-z])ratio(?![a-z])|verhaltnis")
_ORDINALS: Final = {"second": 2, "third": 3, "fourth": 4, "fifth": 5}
_HARMONIC: Final = re.compile(
    r"(?<![a-z0-9])(?:hd|h|d|k|harmonic|harm|harm\.)[ _.]?(\d{1,2})(?!\d)"
    r"|(?<!\d)(\d{1,2})(?:st|nd|rd|th|\.)? ?[ _-]?(?:order )?harm"
    r"|^\D{0,3}(\d)(?:nd|rd|th)\b"
)
# The first that matches decides; the order puts the narrow words before the wide ones.
_WORDS: Final = (
    ("thd", r"thd|distortion|klirr|verzerrung|distorsion|distorcion|total harm"),
    ("fundamental", r"fundamental|grundwelle|grundton|(?<![a-z0-9])h1(?!\d)|1st harm"),
    ("noise", r"noise|rausch|floor"),
    ("coherence", r"coheren|koharen"),
    ("phase", r"phase|fase|(?<![a-z])(deg|degrees|rad|radians)(?![a-z])|°"),
    ("frequency", r"freq|frec|(?<![a-z])k?hz(?![a-z])|^f$|^f[ _(\[/]"),
    ("amplitude", r"impuls"),
    ("real", r"^re(al)?$|^re(al)?[ _(\[]"),
    ("imaginary", r"^im(ag)?(inary)?$|^im(ag)?(inary)?[ _(\[]"),
    ("level", r"spl|level|pegel|niveau|nivel|livello|magn|(?<![a-z])mag|gain|respon|db"),
    ("time", r"time|zeit|temps|tiempo|tempo|^t$|^t[ _(\[/]"),
    ("index", r"index|^n$|^i$|^no\.?$|^nr\.?$|^#$|point|sample ?(no|number|#)"),
    (
        "amplitude",
        r"ampl|sample|impuls|^ir$|^h$|^h ?\(t\)|^y$|value|wert|volt|pressure|druck|signal",
    ),
    ("time", r"(?<![a-z])(ms|us|µs|sec|seconds|milliseconds|s)(?![a-z])"),
    ("amplitude", r"(?<![a-z])(m?pa|m?v)(?![a-z])"),
    ("percent", r"%|percent|prozent"),
)


@dataclass(frozen=True)
class Role:
    """What a column holds.

    Parameters
    ----------
    name : str
        frequency, level, phase, thd, harmonic, fundamental, noise, time, amplitude, index,
        coherence, real, imaginary, percent or other; empty where there is no heading.
    unit : str
        hz, khz, db, %, s, ms, us, deg, rad, pa, mpa, v, mv, ratio (of 1) or empty.
    order : int
        Order of a harmonic, else 0.
    """

    name: str
    unit: str = ""
    order: int = 0


def _plain(text: str) -> str:
    """Lower case without accents."""
    parts = unicodedata.normalize("NFKD", text.replace("°", "\x00"))
    return "".join(c for c in parts if not unicodedata.combining(c)).replace("\x00", "°").lower()


_CANONICAL: Final = {
    "percent": "%", "prozent": "%", "sec": "s", "seconds": "s", "milliseconds": "ms",
    "µs": "us", "μs": "us", "degrees": "deg", "°": "deg", "radians": "rad",
}  # fmt: skip


def _unit(text: str) -> str:
    found = _UNIT.findall(text)
    if not found and re.search(r"db(?!m?\w*\d)", text):
        return "db"
    if not found and _RATIO.search(text):
        return "ratio"
    unit = found[-1] if found else ""
    return _CANONICAL.get(unit, unit)


def role_of(heading: str) -> Role:
    """Work out what a heading says.

    Parameters
    ----------
    heading : str
        The words above a column.

    Returns
    -------
    Role
        Its meaning; ``other`` for words that are not known.
    """
    text = _plain(heading).strip()
    if not text:
        return Role("")
    unit = _unit(text)
    harmonic = _HARMONIC.search(text)
    if harmonic and "total" not in text:
        order = int(next(group for group in harmonic.groups() if group))
        return Role("harmonic", unit, order) if order > 1 else Role("fundamental", unit)
    for word, order in _ORDINALS.items():
        if re.search(rf"\b{word}\b", text):
            return Role("harmonic", unit, order)
    for name, pattern in _WORDS:
        if re.search(pattern, text):
            return Role(name, unit)
    return Role("other", unit)


def places(roles: list[Role], *names: str) -> list[int]:
    """Return which columns have one of the named roles."""
    return [i for i, role in enumerate(roles) if role.name in names]


def headings_of(lines: list[str], columns: int, delimiter: str | None) -> list[str]:
    """Find the headings of the columns among the lines above the rows.

    Parameters
    ----------
    lines : list of str
        Comments and words above the first row, in order.
    columns : int
        Columns of the table.
    delimiter : str or None
        What parts the columns; None for white space.

    Returns
    -------
    list of str
        One heading a column; empty strings where there is none. A line of units under a line of
        names is joined to it.
    """
    found: list[list[str]] = []
    for line in reversed(lines):
        cells = _cells(_without_rate(uncomment(line)), columns, delimiter)
        known = cells is not None and sum(
            role_of(cell).name not in ("", "other") for cell in cells
        ) * 2 >= len(cells)
        if known and cells is not None:
            found.append(cells)
        elif found:
            break
        if len(found) == 2 or (found and not _only_units(found[0])):
            break
    return [
        " ".join(cells[i] for cells in reversed(found) if i < len(cells) and cells[i])
        for i in range(columns)
    ]


def _without_rate(line: str) -> str:
    """Take a sampling rate off a line; a line that begins with one names no column."""
    for pattern in (_RATE, _STEP):
        if match := pattern.search(line):
            return (
                ""
                if match.start() == 0
                else (line[: match.start()].rstrip() + line[match.end() :])
            )
    return line


def _only_units(cells: list[str]) -> bool:
    """Whether a line holds units and nothing else, so that names stand above it."""
    plain = [_plain(cell).strip(" ()[]") for cell in cells]
    return all(not cell or _UNIT.fullmatch(cell) for cell in plain)


def _cells(line: str, columns: int, delimiter: str | None) -> list[str] | None:
    """Split a heading into as many cells as there are columns, by the first way that fits."""
    ways = [delimiter] if delimiter else []
    for way in [*ways, "\t", ";", ",", "|"]:
        cells = [cell.strip() for cell in line.split(way)]
        while len(cells) > columns and not cells[-1]:
            cells.pop()
        if (len(cells) == columns and columns > 1) or (way == delimiter and len(cells) > columns):
            return cells[:columns]
    for cells in (
        re.split(r"\s{2,}", line),
        re.sub(r"\s+(?=[(\[])|(?<=[(\[])\s+|\s+(?=[)\]])", "", line).split(),
        _after_units(line),
    ):
        if len(cells) == columns:
            return cells
    return None


def _after_units(line: str) -> list[str]:
    """Split after each unit: ``Frequency Hz Sound level dB``."""
    cells, start = [], 0
    for match in re.finditer(_UNIT.pattern + r"[)\]]?", line, re.IGNORECASE):
        cells.append(line[start : match.end()].strip())
        start = match.end()
    if line[start:].strip():
        cells.append(line[start:].strip())
    return cells


_RATE: Final = re.compile(
    r"(?:sampl\w*[ _-]*(?:rate|freq\w*)|abtast\w*|\bfs\b|\brate\b)[^\d\n]{0,20}"
    r"(\d+(?:[.,]\d+)?(?:e[+]?\d+)?)\s*(khz|hz)?",
    re.IGNORECASE,
)
_STEP: Final = re.compile(
    r"(?:\bdt\b|sampl\w*[ _-]*(?:interval|period)|time[ _-]*step|abtastintervall)[^\d\n]{0,20}"
    r"(\d*[.,]?\d+(?:e[+-]?\d+)?)\s*(ms|us|µs|s)?",
    re.IGNORECASE,
)


def sampling_rate(remarks: list[str]) -> float | None:
    """Find a sampling rate or interval in the remarks of a file.

    Parameters
    ----------
    remarks : list of str
        Lines of words.

    Returns
    -------
    float or None
        Hz.
    """
    for line in remarks:
        if match := _RATE.search(line):
            value = float(match[1].replace(",", "."))
            return value * (1000.0 if (match[2] or "").lower() == "khz" else 1.0)
        if match := _STEP.search(line):
            step = float(match[1].replace(",", "."))
            scale = {"ms": 1e-3, "us": 1e-6, "µs": 1e-6}.get((match[2] or "s").lower(), 1.0)
            return 1.0 / (step * scale) if step > 0 else None
    return None
