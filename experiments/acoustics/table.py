"""A text file as a table of numbers: rows with their line numbers, headings, remarks."""

from __future__ import annotations

import io
import math
import re
from array import array
from collections import Counter
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics.dialect import (
    Dialect,
    decode,
    is_comment,
    read_token,
    sniff,
    split,
    uncomment,
    unquoted,
)
from experiments.acoustics.form import FREE, Form
from experiments.acoustics.headings import headings_of, role_of
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

__all__ = ["MAX_BYTES", "Table", "read_table"]

MAX_BYTES: Final = 32_000_000
"""Largest text file that is read; a curve of a million points is smaller."""

_LISTED: Final = 5  # line numbers named in a note
_THOUSANDS: Final = re.compile(r"[+-]?[1-9]\d{0,2}[.,]\d{3}")
_WITH_COMMA: Final = re.compile(r"(?<![\d,.])[+-]?\d[\d.]*,\d+(?![\d,])")
_SCALES: Final = {"khz": 1000.0, "k": 1000.0}


@dataclass
class Table:
    """The numbers of a text file.

    Parameters
    ----------
    name : str
        The file.
    values : ndarray, shape (rows, columns)
        NaN where there is a gap.
    lines : ndarray, shape (rows,)
        Line of each row, counted from 1.
    headings : list of str
        Heading of each column, empty where there is none.
    remarks : list of str
        Comment and heading lines.
    notes : list of str
        What was assumed and dropped.
    cell_units : dict of int to Counter
        Units written behind the numbers of a column, lower case, with the number of rows. Values
        in kHz are in Hz already.
    stated : bool
        Whether the headings were stated rather than read in the file.
    """

    name: str
    values: npt.NDArray[np.float64]
    lines: npt.NDArray[np.int64]
    headings: list[str]
    remarks: list[str]
    notes: list[str] = field(default_factory=list)
    cell_units: dict[int, Counter[str]] = field(default_factory=dict)
    stated: bool = False

    def where(self, row: int) -> str:
        """Return ``file:line`` of a row."""
        return f"{self.name}:{int(self.lines[row])}"

    def refuse(
        self, bad: npt.NDArray[np.bool_], values: npt.NDArray[np.float64], expected: str
    ) -> None:
        """Refuse the first bad row, if there is one.

        Parameters
        ----------
        bad : ndarray of bool, shape (rows,)
            Which rows are.
        values : ndarray, shape (rows,)
            What was found in them.
        expected : str
            What was expected.

        Raises
        ------
        CurveError
            It names the row's line.
        """
        if np.any(bad):
            row = int(np.flatnonzero(bad)[0])
            found = "a gap" if np.isnan(values[row]) else f"{values[row]:g}"
            raise CurveError(Problem(self.where(row), found, expected))


def read_table(raw: bytes, name: str, form: Form = FREE) -> Table:
    """Read the columns of a text file.

    Parameters
    ----------
    raw : bytes
        The file.
    name : str
        Its name, for messages.
    form : Form, optional
        What is known about how it is written.

    Returns
    -------
    Table
        Its numbers and words.

    Raises
    ------
    CurveError
        If it is no text, has no rows of numbers, is ambiguous or larger than `MAX_BYTES`.
    """
    if len(raw) > MAX_BYTES:
        raise CurveError(
            Problem(
                name,
                f"{len(raw) / 1e6:.0f} MB of text",
                f"at most {MAX_BYTES / 1e6:.0f} MB",
                "Export fewer points, or an impulse response as WAV.",
            )
        )
    text, encoding = decode(raw, name, form)
    parted = unquoted(text, form)
    if parted is not None:
        text, form = parted, replace(form, delimiter=form.delimiter and ";")
    dialect = sniff(_lines(text), name, form)
    reader = _Reader(name, dialect)
    for number, line in enumerate(_lines(text), start=1):
        reader.take(number, line)
    table = reader.table()
    if parted is not None:
        table.notes.append("commas inside quotation marks mark decimals, those outside columns")
    if encoding == "latin-1":
        table.notes.append("not valid UTF-8: read as Latin-1")
    _refuse_ambiguous(table, dialect, text, form)
    return table


def _lines(text: str) -> io.StringIO:
    """Iterate over lines, whatever ends them, without a list of them all."""
    return io.StringIO(text, newline=None)


class _Reader:
    """Takes a file line by line."""

    def __init__(self, name: str, dialect: Dialect) -> None:
        self.name, self.dialect = name, dialect
        self.numbers = array("d")
        self.rows = array("q")
        self.remarks: list[str] = []
        self.before: list[str] = []  # remarks and words before the first row
        self.words_after: list[int] = []
        self.short: list[int] = []
        self.padded = 0
        self.units: dict[int, Counter[str]] = {}
        self.blocks: list[tuple[int, int]] = []  # (row, line) where rows go on after words

    def take(self, number: int, line: str) -> None:
        """Take one line."""
        line = line.strip("\r\n \x0c\x0b")
        if not line or not line.strip():
            return
        values = self._quickly(line)
        if values is None:
            values = self._carefully(number, line)
        if values is None:
            return
        if self.words_after and not self.blocks:
            self.blocks.append((len(self.rows), number))
        self.numbers.extend(values)
        self.rows.append(number)

    def _quickly(self, line: str) -> list[float] | None:
        """Read a plain row; None for anything that needs a closer look."""
        if self.dialect.decimal == ",":
            if "." in line:
                return None
            line = line.replace(",", ".")
        cells = line.split(self.dialect.delimiter)
        if len(cells) != self.dialect.columns or "_" in line:
            return None
        try:
            values = [float(cell) for cell in cells]
        except ValueError:
            return None
        return values if all(map(math.isfinite, values)) else None

    def _carefully(self, number: int, line: str) -> list[float] | None:
        """Read a row with gaps, units or quotation marks; None for remarks."""
        if is_comment(line) and not (line[0] in "\"'" and self._has_number(line)):
            self._remark(line)
            return None
        cells = split(line, self.dialect.delimiter)
        tokens = [read_token(cell, self.dialect.decimal) for cell in cells]
        numbers = sum(1 for t in tokens if t.value is not None and not math.isnan(t.value))
        words = [cell for cell, token in zip(cells, tokens, strict=True) if token.value is None]
        if numbers == 0 and not words and len(self.rows):
            self.short.append(number)
            return None
        if (words or numbers == 0) and (not self.rows or numbers == 0):
            self._words(number, line)
            return None
        if words:
            raise self._bad_cell(number, words[0])
        if not self.rows and len(tokens) < self.dialect.columns:
            self._words(number, line)  # a lone number above the rows, such as a count
            return None
        for place, token in enumerate(tokens):
            if token.unit:
                self.units.setdefault(place, Counter())[token.unit] += 1
        return self._fit(number, [_scaled(t.value, t.unit) for t in tokens])

    def _has_number(self, line: str) -> bool:
        cells = split(line, self.dialect.delimiter)
        first = read_token(cells[0], self.dialect.decimal).value
        return first is not None and not math.isnan(first)

    def _fit(self, number: int, values: list[float]) -> list[float] | None:
        """Bring a row to the right number of cells."""
        columns = self.dialect.columns
        while len(values) > columns and math.isnan(values[-1]):
            values.pop()
        if len(values) > columns:
            raise CurveError(
                Problem(
                    f"{self.name}:{number}",
                    f"{len(values)} columns",
                    f"{columns} columns as in the other rows",
                    f"The file was read with {self.dialect.describe()}.",
                )
            )
        if len(values) < columns:
            if self.dialect.delimiter is None:
                self.short.append(number)
                return None
            values += [math.nan] * (columns - len(values))
        return values

    def _bad_cell(self, number: int, cell: str) -> CurveError:
        remedy = f"The file was read with {self.dialect.describe()}."
        if _THOUSANDS.fullmatch(cell):
            remedy = f"{cell} may be one thousand or a decimal. {remedy}"
        return CurveError(Problem(f"{self.name}:{number}", repr(cell[:60]), "a number", remedy))

    def _remark(self, line: str) -> None:
        if len(self.remarks) < 200:
            self.remarks.append(line)
        if not self.rows:
            self.before.append(line)

    def _words(self, number: int, line: str) -> None:
        self._remark(line)
        if self.rows:
            self.words_after.append(number)

    def table(self) -> Table:
        """Return what was read."""
        columns = self.dialect.columns
        values = np.frombuffer(self.numbers, dtype=np.float64).reshape(-1, columns).copy()
        lines = np.frombuffer(self.rows, dtype=np.int64).copy()
        notes = [self.dialect.describe()]
        if self.words_after:
            notes.append(
                f"lines of words among or after the rows left out: {_list(self.words_after)}"
            )
        if self.short:
            notes.append(f"incomplete rows left out: lines {_list(self.short)}")
        if values.shape[0] == 0:
            raise CurveError(Problem(self.name, "no rows of numbers", "a curve"))
        self._refuse_second_table(values)
        headings = headings_of(self.before, columns, self.dialect.delimiter)
        remarks = [uncomment(line) for line in self.remarks]
        return Table(self.name, values, lines, headings, remarks, notes, self.units)

    def _refuse_second_table(self, values: npt.NDArray[np.float64]) -> None:
        """Refuse two curves in one file: rows that start again after words."""
        for row, number in self.blocks:
            first, second = values[:row, 0], values[row:, 0]
            if np.nanmax(first, initial=-np.inf) >= np.nanmin(second, initial=np.inf):
                raise CurveError(
                    Problem(
                        f"{self.name}:{number}",
                        "a second table after words",
                        "one curve a file",
                        "Save the curve that you mean in a file of its own.",
                    )
                )


def _scaled(value: float | None, unit: str) -> float:
    return (math.nan if value is None else value) * _SCALES.get(unit, 1.0)


def _list(numbers: list[int]) -> str:
    shown = ", ".join(map(str, numbers[:_LISTED]))
    return shown if len(numbers) <= _LISTED else f"{shown} and {len(numbers) - _LISTED} more"


def _refuse_ambiguous(table: Table, dialect: Dialect, text: str, form: Form) -> None:
    """Refuse numbers that could be read in two ways."""
    if not form.marks and dialect.delimiter == "," and "." not in _first_rows(table, text):
        _refuse_comma_twice(table, dialect, _line_above(table, text))
    if form.decimal is not None:
        return
    if dialect.decimal == ",":
        _refuse_thousands_commas(table, text)
    _refuse_thousands_points(table)


def _refuse_thousands_commas(table: Table, text: str) -> None:
    """Refuse cells of which each comma has three digits behind it."""
    first: tuple[str, str] | None = None
    start = int(table.lines[0]) - 1
    for number, line in enumerate(islice(_lines(text), start, None), start=start + 1):
        if is_comment(bare := line.strip()) and bare[0] not in "\"'":
            continue
        for cell in _WITH_COMMA.findall(line):
            if not _THOUSANDS.fullmatch(cell):
                return
            first = first or (f"{table.name}:{number}", cell)
    if first is not None:
        raise CurveError(
            Problem(
                first[0],
                f"the cell {first[1]!r} and the like, in which the comma may mark decimals or "
                "thousands",
                "numbers that can be read in one way only",
                "Write them with a decimal point and without thousands marks, or state decimal in "
                "[rig.files] of the plan.",
            )
        )


def _first_rows(table: Table, text: str) -> str:
    """Return the text from the first row on, as far as it matters here."""
    start = int(table.lines[0]) - 1
    lines = islice(_lines(text), start, start + 2000)
    return "\n".join(line for line in lines if not is_comment(line.strip()))


def _line_above(table: Table, text: str) -> str:
    """Return the last line of words above the first row."""
    above = [line for line in islice(_lines(text), int(table.lines[0]) - 1) if line.strip()]
    return uncomment(above[-1]) if above else ""


def _refuse_comma_twice(table: Table, dialect: Dialect, above: str) -> None:
    """Refuse ``100,5,85,2`` (four numbers or two?) and ``1,234`` (two or one?)."""
    named = sum(1 for heading in table.headings if heading)
    words = [role_of(cell).name for cell in above.split(",")]
    # Two headings over three columns: 100,80,5 is 100 and 80.5.
    few = 1 < len(words) < dialect.columns and not {"", "other"}.intersection(words)
    if named == dialect.columns or (dialect.columns % 2 and not few):
        return
    first = table.values[:, 0]
    ascending = first.size > 2 and bool(np.all(np.diff(first) > 0))
    if dialect.columns == 2 and ascending:
        table.notes.append("commas taken as column marks, since the first column ascends")
        return
    raise CurveError(
        Problem(
            table.where(0),
            "commas that may part columns or mark decimals",
            "numbers that can be read in one way only",
            "Part columns with semicolons or tabs, name every column in a heading, or state "
            "delimiter and columns in [rig.files] of the plan.",
        )
    )


def _refuse_thousands_points(table: Table) -> None:
    """Refuse ``900, 1.000, 1.250``: frequencies that ascend only if the point marks thousands."""
    first = table.values[:, 0]
    if first.size < 4 or np.any(np.isnan(first)) or np.all(np.diff(first) > 0):
        return
    falls = np.flatnonzero(np.diff(first) < 0)
    if falls.size != 1:
        return
    after = first[falls[0] + 1 :]
    before = first[: falls[0] + 1]
    grown = after * 1000
    whole = np.all(before == np.round(before)) and np.all(np.abs(grown - np.round(grown)) < 1e-6)
    goes_on = before[-1] >= 100 and before[-1] < grown[0] < 20 * before[-1]
    if whole and goes_on and np.all(np.diff(grown) > 0) and np.any(after < 20):
        raise CurveError(
            Problem(
                table.where(int(falls[0]) + 1),
                f"{after[0]:g} after {before[-1]:g}, as if the point marked thousands",
                "numbers that can be read in one way only",
                "Write them without thousands marks.",
            )
        )
