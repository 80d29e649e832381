"""How a text file writes its numbers: encoding, delimiter, decimal mark, marks for gaps."""

from __future__ import annotations

import codecs
import re
from collections import Counter
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING, Final

from experiments.acoustics.form import FREE, Form
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    from collections.abc import Iterable

__all__ = [
    "Dialect",
    "Token",
    "decode",
    "is_comment",
    "read_token",
    "sniff",
    "split",
    "uncomment",
    "unquoted",
]

COMMENT_MARKS: Final = "*#;\"'%!"
"""A line that starts with one of these is a remark, unless numbers follow a quotation mark."""

_GAPS: Final = frozenset(
    "nan na n/a n.a. null none nil inf +inf -inf infinity -infinity undef ? . * x #n/a #nv #num! "
    "1.#qnan -1.#ind 1.#inf -1.#inf 1.#ind".split()
)
_UNITS: Final = r"(k?hz|k|m?s|us|µs|μs|sec|db\w*|%|deg|°|rad|m?v|m?pa)?"
_POINT: Final = re.compile(
    r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[ed][+-]?\d+)?)\s*" + _UNITS, re.IGNORECASE
)
_COMMA: Final = re.compile(
    r"([+-]?(?:\d+(?:,\d+)?|,\d+)(?:[ed][+-]?\d+)?)\s*" + _UNITS, re.IGNORECASE
)
# Both marks in one number settle which is which.
_THOUSANDS_POINT: Final = re.compile(r"[+-]?\d{1,3}(?:,\d{3})+\.\d+")
_THOUSANDS_COMMA: Final = re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+,\d+")
_LIKE_A_ROW: Final = re.compile(r"[\"']?[+-]?[.,]?\d")
_WAYS: Final = (
    ("\t", "."), ("\t", ","), (";", "."), (";", ","), (",", "."), ("|", "."), ("|", ","),
    (None, "."), (None, ","),
)  # fmt: skip
_PART_OF_DECIMAL: Final = re.compile(r"[+-]0|0\d+")
_QUOTED_COMMA: Final = re.compile(r'(?:^|,)\s*"[+-]?\d*,\d+"\s*(?:,|$)', re.MULTILINE)
_QUOTED_POINT: Final = re.compile(r'"[+-]?[\d,]*\.\d+"')
_HEAD: Final = 20_000  # characters in which quoted numbers are looked for
_SAMPLE: Final = 400  # lines looked at
_TRIED: Final = 60  # of them, on which every reading is tried


@dataclass(frozen=True)
class Dialect:
    """How the numbers of a file are written.

    Parameters
    ----------
    delimiter : str or None
        The character between columns; None for any white space.
    decimal : str
        ``.`` or ``,``.
    columns : int
        Columns of a row of data.
    """

    delimiter: str | None
    decimal: str
    columns: int

    def describe(self) -> str:
        """Say it in words."""
        names = {None: "white space", "\t": "tabs", ";": "semicolons", ",": "commas", "|": "bars"}
        mark = "decimal point" if self.decimal == "." else "decimal comma"
        return f"columns parted by {names.get(self.delimiter, repr(self.delimiter))}, {mark}"


@dataclass(frozen=True)
class Token:
    """One cell.

    Parameters
    ----------
    value : float or None
        The number; NaN for a gap, None for words.
    unit : str
        A unit that was written after the number, lower case.
    """

    value: float | None
    unit: str = ""


def decode(raw: bytes, name: str, form: Form = FREE) -> tuple[str, str]:
    """Turn the bytes of a text file into text.

    Parameters
    ----------
    raw : bytes
        The file.
    name : str
        Its name, for messages.
    form : Form
        Its encoding, if that is known.

    Returns
    -------
    str
        The text; Unicode minus signs become hyphens.
    str
        The encoding.

    Raises
    ------
    CurveError
        If the bytes are no text.
    """
    encoding = form.encoding or _encoding(raw)
    try:
        text = form.decode(raw, name) if form.encoding else raw.decode(encoding)
    except UnicodeDecodeError:
        if encoding != "utf-8":
            raise _not_text(name, f"broken {encoding}") from None
        encoding = "latin-1"
        text = raw.decode(encoding)
    text = text.lstrip("\ufeff")
    # A few control characters are harmless (old files end in 0x1A); many mean it is no text.
    head = text[:4000]
    odd = sum(1 for c in head if (c < " " and c not in "\t\n\r\f\x1a\x0b") or c == "\x7f")
    if odd > 0.02 * len(head) or "\x00" in head:
        raise _not_text(name, "bytes that are no text")
    return text.replace("\u2212", "-").replace("\x1a", ""), encoding


def unquoted(text: str, form: Form = FREE) -> str | None:
    """Part columns with semicolons where quoted cells hold decimal commas: ``"20,5","80,1"``.

    Parameters
    ----------
    text : str
        The file.
    form : Form
        Its delimiter and decimal mark, if those are known.

    Returns
    -------
    str or None
        The text with semicolons for the commas outside quotation marks, line by line; None where
        no quoted number has a comma, or one has a point.
    """
    head = text[:_HEAD]
    stated = form.delimiter not in (None, ",") or form.decimal not in (None, ",")
    if stated or not _QUOTED_COMMA.search(head) or _QUOTED_POINT.search(head):
        return None
    lines = [line.split('"') for line in text.splitlines(keepends=True)]
    return "".join(
        '"'.join(part if i % 2 else part.replace(",", ";") for i, part in enumerate(parts))
        for parts in lines
    )


def _encoding(raw: bytes) -> str:
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8-sig"),
        (codecs.BOM_UTF32_LE, "utf-32"),
        (codecs.BOM_UTF32_BE, "utf-32"),
        (codecs.BOM_UTF16_LE, "utf-16"),
        (codecs.BOM_UTF16_BE, "utf-16"),
    ):
        if raw.startswith(mark):
            return encoding
    head = raw[:400]
    if (len(head) >= 4 and len(head) % 2 == 0) or len(head) == 400:
        even, odd = head[::2].count(0), head[1::2].count(0)
        if odd > 0.4 * len(head) / 2 and even == 0:
            return "utf-16-le"
        if even > 0.4 * len(head) / 2 and odd == 0:
            return "utf-16-be"
    return "utf-8"


def _not_text(name: str, found: str) -> CurveError:
    return CurveError(
        Problem(
            name,
            found,
            "a text file of columns, or a WAV file",
            "Export the curve as text or WAV.",
        )
    )


def is_comment(line: str) -> bool:
    """Whether a stripped line starts with a comment mark."""
    return line.startswith(tuple(COMMENT_MARKS)) or line.startswith("//")


def uncomment(line: str) -> str:
    """Take comment marks and quotation marks off a heading."""
    return line.strip().lstrip(COMMENT_MARKS + "/ \t").replace('"', "").strip()


def split(line: str, delimiter: str | None) -> list[str]:
    """Split a line into cells without quotation marks."""
    cells = [cell.strip().strip("\"'").strip() for cell in line.split(delimiter)]
    if len(cells) > 1 and cells[-1] == "" and delimiter is not None:
        cells.pop()
    return cells


def read_token(cell: str, decimal: str) -> Token:
    """Read one cell.

    Parameters
    ----------
    cell : str
        Its text.
    decimal : str
        The decimal mark.

    Returns
    -------
    Token
        A number with the unit written behind it, a gap, or words.
    """
    low = cell.strip().lower()
    if not low or low in _GAPS or not low.strip("-"):
        return Token(float("nan"))
    match = (_POINT if decimal == "." else _COMMA).fullmatch(low)
    if match:
        digits = match[1].replace(",", ".").replace("d", "e")
        return Token(float(digits), match[2] or "")
    if decimal == "." and _THOUSANDS_POINT.fullmatch(low):
        return Token(float(low.replace(",", "")))
    if decimal == "," and _THOUSANDS_COMMA.fullmatch(low):
        return Token(float(low.replace(".", "").replace(",", ".")))
    return Token(None)


def sniff(lines: Iterable[str], name: str, form: Form = FREE) -> Dialect:
    """Find out how a file parts its columns and writes its decimals.

    Parameters
    ----------
    lines : iterable of str
        The file from its start; only the first 400 lines that are not blank are looked at.
    name : str
        The file's name, for messages.
    form : Form
        Its delimiter and decimal mark, if those are known.

    Returns
    -------
    Dialect
        The reading under which most lines are rows of numbers.

    Raises
    ------
    CurveError
        If no reading makes rows of numbers, or two do and differ in what they say.
    """
    filled = ((i, line.strip("\r\n ")) for i, line in enumerate(lines, start=1) if line.strip())
    sample = list(islice(filled, _SAMPLE))
    likely = [line for _, line in sample if any(c.isdigit() for c in line) and _may_be_row(line)]
    tried = likely[:: max(1, len(likely) // _TRIED)]
    scored = []
    for delimiter, decimal in form.ways(_WAYS):
        counts = Counter(_numeric_cells(line, delimiter, decimal) for line in tried)
        counts.pop(0, None)
        if counts and min(counts) > 0:
            columns = max(counts, key=lambda c: (counts[c], c))
            rows = counts[columns]
            # A single column is the weakest reading: any delimiter gives it.
            scored.append((rows if columns > 1 else rows / 2 - 0.25, columns, delimiter, decimal))
    if not scored:
        raise _no_rows(sample, name, form)
    best = max(scored, key=lambda item: item[0])
    dialect = Dialect(best[2], best[3], best[1])
    if form.marks:
        _refuse_mismatch(sample, name, dialect, form)
    if dialect.columns == 1 and form.delimiter is not None and len(form.columns or "..") > 1:
        raise _no_rows(sample, name, form)
    if dialect.columns == 1:
        dialect = Dialect(None, dialect.decimal, 1)
    return dialect


def _refuse_mismatch(
    sample: list[tuple[int, str]], name: str, dialect: Dialect, form: Form
) -> None:
    """Refuse a row of numbers that is one in another form only."""
    for number, line in sample:
        if (
            _LIKE_A_ROW.match(line)
            and not _numeric_cells(line, dialect.delimiter, dialect.decimal)
            and any(_numeric_cells(line, *way) > 1 for way in _WAYS)
        ):
            raise form.mismatch(name, number, line)


def _no_rows(sample: list[tuple[int, str]], name: str, form: Form) -> CurveError:
    """Blame the first line that looks like a row, and say what is wrong with it."""
    rows = [each for each in sample if _LIKE_A_ROW.match(each[1])]
    number, line = (rows or sample or [(1, "")])[0]
    if form.marks:
        return form.mismatch(name, number, line)
    remedy = "Export the curve as text with one point a line."
    if rows and "," in line and "." in line:
        remedy = "Commas and points stand in one line: write every number with one decimal mark."
    elif rows and line.count(",") > 1:
        remedy = (
            "The comma stands both between and within numbers, as decimal or thousands mark: "
            "part columns with semicolons or tabs, or write decimal points."
        )
    return CurveError(
        Problem(
            f"{name}:{number}",
            _quote(line) if line else "an empty file",
            "rows of numbers in columns",
            remedy,
        )
    )


def _may_be_row(line: str) -> bool:
    return not is_comment(line) or line[0] in "\"'"


def _numeric_cells(line: str, delimiter: str | None, decimal: str) -> int:
    """How many cells a line has if all of them are numbers or gaps, else 0.

    -1 if commas cannot part these columns: nobody writes whole numbers as 0123 or -0, but both
    stand behind and before a decimal comma.
    """
    cells = split(line, delimiter)
    if delimiter == "," and any(_PART_OF_DECIMAL.fullmatch(cell) for cell in cells):
        return -1
    tokens = [read_token(cell, decimal) for cell in cells]
    numbers = sum(1 for t in tokens if t.value is not None and t.value == t.value)
    if any(t.value is None for t in tokens) or numbers == 0:
        return 0
    return len(tokens)


def _quote(text: str) -> str:
    return repr(text if len(text) <= 60 else text[:57] + "...")
