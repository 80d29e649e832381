"""From the text cells of a spreadsheet to typed rows of the table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from experiments.bounds import wanted_instead
from experiments.circumstances import CIRCUMSTANCES
from experiments.entries import clean_text
from experiments.errors import ExchangeError, LedgerError, Problem
from experiments.exchange.cells import (
    RawSheet,
    Refused,
    decimal_mark,
    parse_number,
    same_number,
)
from experiments.exchange.mangled import remedy_for, rounds_to, unclear_thousands
from experiments.grammar import suggest
from experiments.naming import aliases, simple_name
from experiments.outputs import is_mark
from experiments.plan import Metric, Plan
from experiments.records import STATUSES
from experiments.trials import LEADING

__all__ = ["SheetRow", "TypedSheet", "columns_of", "typed_rows"]

_WHOLE = ("cone", "plate", "measurement", "version")
_TRAILING = ("print_minutes", "why", "note", "measurement", "version")
_LARGEST = 2**31
_ONE_MARK = "a number of which it is plain whether the mark stands before decimals"


@dataclass(frozen=True)
class SheetRow:
    """One row of a spreadsheet.

    Parameters
    ----------
    number : int
        As the spreadsheet counts.
    cells : dict
        Column to value; None where the cell is blank. Columns that the sheet lacks, and cells
        that could not be read, are absent.
    texts : dict
        The same cells as text.
    decimal : str
        The decimal mark.
    """

    number: int
    cells: dict[str, Any]
    texts: dict[str, str]
    decimal: str

    def differs(self, column: str, value: Any) -> bool:
        """Whether the cell says something else than `value`; a missing column never does."""
        if column not in self.cells:
            return False
        cell = self.cells[column]
        if cell is None or isinstance(value, str | None):
            return bool(cell != (None if value == "" else value))
        return not same_number(self.texts[column], self.decimal, float(value))

    def rounds(self, column: str, value: float | None) -> bool:
        """Whether the cell is `value`, rounded, as a spreadsheet saves what it shows."""
        if value is None or self.cells[column] is None:
            return False
        return rounds_to(self.texts[column], self.decimal, value)


@dataclass(frozen=True)
class TypedSheet:
    """A spreadsheet, read.

    Parameters
    ----------
    rows : list of SheetRow
        In the order of the sheet.
    columns : frozenset of str
        Which columns of the table it has.
    problems : list of Problem
        Every cell that cannot be read.
    notes : list of str
        What was assumed or left alone.
    """

    rows: list[SheetRow]
    columns: frozenset[str]
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def columns_of(plan: Plan) -> list[str]:
    """List the columns of the exported table in order."""
    return [*LEADING, *plan.variables, *plan.metrics, *_TRAILING]


def typed_rows(sheet: RawSheet, plan: Plan, file: str) -> TypedSheet:
    """Give every cell its type.

    Parameters
    ----------
    sheet : RawSheet
        The text cells.
    plan : Plan
        Its variables and metrics are columns.
    file : str
        Named where the header is wrong.

    Returns
    -------
    TypedSheet
        Rows, problems and notes.

    Raises
    ------
    ExchangeError
        If no column is known, or one stands there twice.
    """
    places, notes = _header(sheet, plan, file)
    readers = _readers(plan)
    numeric = [name for name in places if name not in _texts(plan)]
    mark = decimal_mark(
        (
            row[places[name]]
            for _, row in sheet.rows
            for name in numeric
            if places[name] < len(row)
        ),
        sheet.delimiter,
    )
    if mark == ",":
        notes.append("decimal commas were read as such")
    unclear = unclear_thousands(
        (
            row[places[name]]
            for _, row in sheet.rows
            for name in numeric
            if places[name] < len(row)
        ),
        mark,
        sheet.delimiter,
    )
    rows, problems = [], []
    for number, raw in sheet.rows:
        problems += _too_long(number, raw, sheet)
        texts = {name: raw[at] if at < len(raw) else "" for name, at in places.items()}
        cells: dict[str, Any] = {}
        for name, text in texts.items():
            try:
                if isinstance(text, Refused) or (text in unclear and name in numeric):
                    raise ValueError(getattr(text, "expected", _ONE_MARK))
                cells[name] = readers[name](text, mark) if text else None
            except (ValueError, LedgerError) as error:
                wanted = str(error) if isinstance(error, ValueError) else "plain text"
                remedy = remedy_for(text) or _other_mark(text, mark) if name in numeric else ""
                where = f"row {number}, column {name}"
                found = repr(str(text))
                problems.append(Problem(where, found, wanted, getattr(text, "remedy", remedy)))
        rows.append(SheetRow(number, cells, texts, mark))
    return TypedSheet(rows, frozenset(places), problems, [*sheet.notes, *notes])


def _header(sheet: RawSheet, plan: Plan, file: str) -> tuple[dict[str, int], list[str]]:
    """Which column stands where, and notes on the columns that are none of ours."""
    known = aliases({**plan.variables, **plan.metrics}, (*LEADING, *_TRAILING))
    found = [known.get(name, known.get(simple_name(name), "")) for name in sheet.header]
    twice = [name for name, count in Counter(found).items() if name and count > 1]
    if twice:
        raise ExchangeError(
            *(Problem(f"{file}, row 1", f"the column {name} twice", "it once") for name in twice)
        )
    places = {name: at for at, name in enumerate(found) if name}
    if not places:
        raise ExchangeError(
            Problem(
                f"{file}, row 1",
                ", ".join(sheet.header[:8]),
                f"column names such as {', '.join(columns_of(plan)[:8])}",
                "Export the table to see them all.",
            )
        )
    strangers = [
        name
        for name, ours in zip(sheet.header, found, strict=True)
        if name and not ours and not is_mark(name)
    ]
    absent = [alias for alias, ours in known.items() if ours not in places]
    gone = any(name not in places for name in (*plan.variables, *plan.metrics))
    renamed = "If it is a missing one under another name, put that name back." if gone else ""
    notes = []
    for name in strangers:
        hint = suggest(simple_name(name), absent) or renamed
        notes.append(f"column {name!r} is unknown and passed over. {hint}".strip())
    return places, notes


def _other_mark(text: str, mark: str) -> str:
    """Say how a number is written with the decimal mark of the other cells."""
    other = "," if mark == "." else "."
    if other not in text:
        return ""
    try:
        parse_number(text, other)
    except ValueError:
        return ""
    return f"All numbers of a sheet bear the same mark: write {text.replace(other, mark)}."


def _too_long(number: int, raw: list[str], sheet: RawSheet) -> list[Problem]:
    if not any(raw[len(sheet.header) :]):
        return []
    remedy = (
        "With commas between the cells, a number with a decimal comma needs quotes around it."
        if sheet.delimiter == ","
        else ""
    )
    return [Problem(f"row {number}", f"{len(raw)} cells", f"at most {len(sheet.header)}", remedy)]


def _texts(plan: Plan) -> set[str]:
    words = {name for name, variable in plan.variables.items() if not variable.numeric}
    return {"status", "session", "why", "note"} | words


def _readers(plan: Plan) -> dict[str, Callable[[str, str], Any]]:
    """How each column's cells are read: ``reader(text, decimal_mark) -> value``."""
    readers: dict[str, Callable[[str, str], Any]] = dict.fromkeys(columns_of(plan), parse_number)
    readers |= dict.fromkeys(_texts(plan), _text)
    readers |= dict.fromkeys(_WHOLE, _whole)
    readers["print_minutes"] = _within(0.0, None)
    readers |= {name: _within(one.least, one.most) for name, one in CIRCUMSTANCES.items()}
    readers |= {name: _possible(metric) for name, metric in plan.metrics.items()}
    readers["status"] = _status
    return readers


def _text(text: str, _mark: str) -> str:
    return clean_text(text, "cell")


def _status(text: str, _mark: str) -> str:
    status = " ".join(text.casefold().split())
    if status not in STATUSES:
        raise ValueError(f"one of {', '.join(STATUSES)}")
    return status


def _whole(text: str, mark: str) -> int:
    try:
        number = parse_number(text, mark)
    except ValueError:
        number = -1.0
    if not number.is_integer() or not 0 < number < _LARGEST:
        raise ValueError("a whole number from 1 upwards")
    return int(number)


def _within(least: float, most: float | None) -> Callable[[str, str], float]:
    """Make a reader of numbers between two, or from one upwards."""

    def read(text: str, mark: str) -> float:
        number = parse_number(text, mark)
        if number < least or (most is not None and number > most):
            raise ValueError(f"{least:g} or more" if most is None else f"{least:g} to {most:g}")
        return number

    return read


def _possible(metric: Metric) -> Callable[[str, str], float]:
    """Make a reader of the values that a metric can have."""

    def read(text: str, mark: str) -> float:
        number = parse_number(text, mark)
        wanted = wanted_instead(metric, number)
        if wanted:
            raise ValueError(wanted)
        return number

    return read
