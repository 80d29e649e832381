"""Tables as spreadsheets write them: encodings, separators, decimal commas, formula-like cells."""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from experiments.errors import ExchangeError, Problem
from experiments.outputs import seal, write_whole

__all__ = [
    "EXACT",
    "HEARD",
    "DateText",
    "RawSheet",
    "Refused",
    "cell_text",
    "decimal_mark",
    "disarm",
    "parse_number",
    "read_sheet",
    "rearm",
    "refused_cell",
    "same_number",
    "sheet_in",
    "write_sheet",
]

MAX_BYTES = 50_000_000
EXACT = 12
"""Significant digits of what a person sets: no binary tail, and far finer than any step."""
HEARD = 6
"""Significant digits of a metric: far finer than any measurement repeats."""

_DELIMITERS = (";", ",", "\t")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?")
_RISKY = ("=", "+", "-", "@", "\t", "'")


@dataclass(frozen=True)
class RawSheet:
    """A spreadsheet as text cells.

    Parameters
    ----------
    header : list of str
        The first row.
    rows : list of (int, list of str)
        Row number as a spreadsheet counts (the header is row 1), and the cells; blank rows are
        left out.
    delimiter : str
        What separates the cells; empty for a workbook, whose numbers have a decimal point.
    content : bytes
        The file.
    notes : list of str
        What was assumed.
    sheet : str
        Name of the sheet of a workbook.
    """

    header: list[str]
    rows: list[tuple[int, list[str]]]
    delimiter: str
    content: bytes
    notes: list[str]
    sheet: str = ""


class DateText(str):
    """A date as text, in the order of ISO 8601; the spreadsheet may have made it of a number."""

    __slots__ = ()


class Refused(str):
    """The text of a cell that cannot be taken for what it seems to be.

    Attributes
    ----------
    expected, remedy : str
        What should stand there, and how to mend it.
    """

    expected: str = ""
    remedy: str = ""


def refused_cell(text: str, expected: str, remedy: str = "") -> Refused:
    """Make the text of a cell that is refused."""
    made = Refused(text)
    made.expected, made.remedy = expected, remedy
    return made


def disarm(text: str) -> str:
    """Put an apostrophe before a text that a spreadsheet would take for a formula.

    Common practice against CSV injection (OWASP, "CSV Injection", from memory). A text that
    begins with an apostrophe gets one too, so that `rearm` always gives the text back.
    """
    if text.startswith(_RISKY) and not _NUMBER.fullmatch(text):
        return f"'{text}"
    return text


def rearm(text: str) -> str:
    """Take the apostrophe of `disarm` away again."""
    return text[1:] if text[:1] == "'" and text[1:2] in _RISKY else text


def cell_text(value: Any, decimal: str, digits: int = EXACT) -> str:
    """Write one value: blank for nothing, a number with so many significant digits at most.

    `same_number` tells that such a text still means the value.
    """
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, str):
        return disarm(value)
    return _plain(float(value), digits).replace(".", decimal)


def _plain(number: float, digits: int) -> str:
    """Write a number as people do; what stands before the point is never rounded away."""
    if abs(number) < 1e15 and (number.is_integer() or abs(number) >= 10**digits):
        return f"{number + 0.0:.0f}"
    return f"{number:.{digits}g}"


def parse_number(text: str, decimal: str) -> float:
    """Read a number.

    Parameters
    ----------
    text : str
        The cell.
    decimal : {".", ","}
        The mark in use.

    Returns
    -------
    float
        The number.

    Raises
    ------
    ValueError
        If it is no plain number with this decimal mark; the text says what was expected.
    """
    other = "," if decimal == "." else "."
    text = text.replace("\u2212", "-")  # a typographic minus
    if other in text or not _NUMBER.fullmatch(text):
        raise ValueError(f"a number with a decimal {_NAMES[decimal]}")
    number = float(text.replace(",", "."))
    if math.isinf(number):
        raise ValueError("a number below 1e308")
    return number + 0.0


_NAMES = {".": "point", ",": "comma"}


def same_number(text: str, decimal: str, value: float) -> bool:
    """Whether a cell is `value`, as the export writes it or as a spreadsheet shows it.

    The export writes fewer digits than the store keeps, and spreadsheets save what they show. A
    cell of six or more significant digits that rounds the stored value correctly is therefore no
    edit.
    """
    number = parse_number(text, decimal)
    if number == value or any(number == float(_plain(value, n)) for n in (EXACT, HEARD)):
        return True
    mantissa, _, exponent = text.lower().replace(decimal, ".").partition("e")
    digits = mantissa.lstrip("+-\u2212").replace(".", "").lstrip("0")
    if len(digits) < 6:
        return False
    places = len(mantissa.partition(".")[2]) - int(exponent or 0)
    # Half a unit of the last place, and a little for the binary representation of both.
    return abs(number - value) <= 0.5 * 10.0**-places * (1 + 1e-9) + 2 * math.ulp(value)


def decimal_mark(cells: Iterable[str], delimiter: str) -> str:
    """Find out which decimal mark a sheet uses.

    Parameters
    ----------
    cells : iterable of str
        The cells of numeric columns.
    delimiter : str
        A comma between cells makes a decimal comma less likely; it decides a tie. Without one
        it is a workbook, whose numbers have a point.

    Returns
    -------
    str
        ``"."`` or ``","``: whichever is in more cells.
    """
    numbers = [cell for cell in cells if _NUMBER.fullmatch(cell)]
    commas = sum("," in cell for cell in numbers)
    points = sum("." in cell for cell in numbers)
    if not delimiter:
        return "."
    if commas == points:
        return "." if delimiter == "," or not commas else ","
    return "," if commas > points else "."


def read_sheet(path: Path, known: Sequence[str]) -> RawSheet:
    """Read a CSV file or a workbook.

    Parameters
    ----------
    path : Path
        The file.
    known : sequence of str
        Column names that are expected; they tell the delimiter, and the sheet of a workbook.

    Returns
    -------
    RawSheet
        Its cells, stripped and with disarmed formulas restored.

    Raises
    ------
    ExchangeError
        If it cannot be read, is empty or too large.
    """
    return sheet_in(_bytes(path), path, known)


def sheet_in(content: bytes, path: Path, known: Sequence[str]) -> RawSheet:
    """As `read_sheet`, of a file that is not on this disk; `path` only names it."""
    _refuse_bytes(content, path)
    wanted = {name.casefold() for name in known}
    if content[:2] == b"PK":
        return _workbook(path, content, wanted)
    text, notes = _decode(content, path)
    first = text.lstrip("\r\n").split("\n", 1)[0]
    delimiter = max(_DELIMITERS, key=lambda mark: (_hits(first, mark, wanted), first.count(mark)))
    try:
        records = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise ExchangeError(
            Problem(path.name, f"broken quoting ({error})", "a CSV file", "Save it as CSV again.")
        ) from None
    cells = [[rearm(cell.strip()) for cell in record] for record in records]
    filled = [(number, row) for number, row in enumerate(cells, start=1) if any(row)]
    if not filled:
        raise ExchangeError(Problem(path.name, "an empty file", "a table with a header row"))
    return RawSheet(filled[0][1], filled[1:], delimiter, content, notes)


def _workbook(path: Path, content: bytes, wanted: set[str]) -> RawSheet:
    # Not for those who have no workbook: the library takes a while to load.
    from experiments.exchange.workbook import read_workbook

    title, found, notes = read_workbook(path, content, wanted)
    rows = [
        (number, [rearm(text) if type(text) is str else text for text in row])
        for number, row in found
    ]
    return RawSheet([str(text) for text in rows[0][1]], rows[1:], "", content, notes, title)


def _hits(line: str, delimiter: str, wanted: set[str]) -> int:
    try:
        cells = next(csv.reader([line], delimiter=delimiter))
    except (csv.Error, StopIteration):
        return 0
    return sum(cell.strip().casefold() in wanted for cell in cells)


def _bytes(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(MAX_BYTES + 1)
    except OSError as error:
        reason = "no such file" if isinstance(error, FileNotFoundError) else error.strerror
        raise ExchangeError(Problem(str(path), str(reason), "a CSV file")) from None


def _refuse_bytes(content: bytes, path: Path) -> None:
    if len(content) > MAX_BYTES:
        raise ExchangeError(
            Problem(path.name, "a very large file", f"at most {MAX_BYTES // 1_000_000} MB")
        )
    if content[:4] == b"\xd0\xcf\x11\xe0":
        remedy = "Save it without a password as .xlsx, or the sheet as CSV."
        raise ExchangeError(
            Problem(path.name, "an old or an encrypted workbook", "a workbook (.xlsx)", remedy)
        )


def _decode(content: bytes, path: Path) -> tuple[str, list[str]]:
    wide = content[:2] in (b"\xff\xfe", b"\xfe\xff")
    for encoding in ("utf-16",) if wide else ("utf-8-sig", "cp1252"):
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        notes = ["read as Windows-1252, since it is no UTF-8"] if encoding == "cp1252" else []
        return text, notes
    raise ExchangeError(
        Problem(path.name, "bytes that are no text", "a CSV file in UTF-8", "Save it as UTF-8.")
    )


def write_sheet(path: Path, rows: Iterable[Sequence[str]], delimiter: str) -> None:
    """Write a CSV file, sealed; it appears complete or not at all.

    Parameters
    ----------
    path : Path
        The file; an older one is replaced.
    rows : iterable of sequences of str
        Header first.
    delimiter : str
        What separates the cells.

    Raises
    ------
    OutputError
        If it cannot be written.
    """
    buffer = io.StringIO(newline="")
    csv.writer(buffer, delimiter=delimiter, lineterminator="\r\n").writerows(rows)
    text = buffer.getvalue()
    # Spreadsheets take a file without the mark for the computer's old code page.
    encoding = "utf-8" if text.isascii() else "utf-8-sig"
    write_whole(path, seal(text.encode(encoding)))
