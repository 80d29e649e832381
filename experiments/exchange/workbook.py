"""Workbooks (XLSX: ECMA-376, Office Open XML) as text cells. Formulas are never worked out.

A workbook may come from a stranger: its parts are bounded and looked through before anything
parses them, and what a spreadsheet made of numbers (dates, percentages, formulas, errors, merged
cells) is refused with sheet, row and column.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import date, datetime
from pathlib import Path
from typing import Any

from openpyxl import Workbook, load_workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.styles import Font
from openpyxl.utils import get_column_letter

from experiments.errors import ExchangeError, Problem
from experiments.exchange.cells import DateText, refused_cell
from experiments.outputs import MARK, is_mark, seal
from experiments.zips import directory_of

__all__ = ["read_workbook", "workbook_bytes"]

MOST_ROWS, MOST_COLUMNS, MOST_CELLS = 50_000, 300, 1_000_000
_MOST_PARTS, _MOST_BYTES, _MOST_DIRECTORY = 1000, 100_000_000, 500_000
_TABLE = "table"
_PLAIN = "Save the sheet as a plain workbook (.xlsx), or as CSV."
_MERGED = re.compile(rb"<(?:\w+:)?mergeCell\s[^>]*?ref\s*=\s*[\"']([A-Za-z0-9:$]{1,30})[\"']")
_CELL = re.compile(rb"<(?:\w+:)?c[\s/>]")
_ROW = re.compile(rb"<(?:\w+:)?row[\s/>]")
_PLACE = re.compile(rb"\sr\s*=\s*[\"']([A-Za-z]*)(\d*)[\"']")
_ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
_NO_XML = re.compile(r"[\x00-\x08\x0b-\x1f\ufffe\uffff]|_(?=x[0-9A-Fa-f]{4}_)")
"""What XML cannot hold, and what would read like it: ECMA-376, 22.9.2.19 (from memory)."""
_TROUBLE = (
    zipfile.BadZipFile,
    zlib.error,
    NotImplementedError,  # a compression or a version of the format that `zipfile` does not know
    EOFError,
    SyntaxError,  # of XML, too
    ArithmeticError,
    LookupError,
    TypeError,
    ValueError,
    AttributeError,
    AssertionError,
    OSError,
)
"""What the library raises for a file that is no sound workbook."""


Rows = list[tuple[int, list[str]]]


def read_workbook(path: Path, content: bytes, known: set[str]) -> tuple[str, Rows, list[str]]:
    """Read the one sheet of a workbook that is a table of ours.

    Parameters
    ----------
    path : Path
        The file, named in messages.
    content : bytes
        All of it.
    known : set of str
        Column names that are expected, in small letters; they tell the sheet.

    Returns
    -------
    str
        Name of the sheet.
    list of (int, list of str)
        Row number and cells; numbers with a decimal point. What is refused is `Refused`.
    list of str
        What was left alone.

    Raises
    ------
    ExchangeError
        If it is no workbook, too large, has merged cells, or no single sheet is the table.
    """
    with _plainly(path):
        merged = _look_through(path, content)
        with warnings.catch_warnings():
            # Of parts that are passed over anyway, such as lists of allowed values.
            warnings.simplefilter("ignore")
            book = load_workbook(io.BytesIO(content), read_only=True, keep_links=False)
            sheets = {sheet.title: _rows(sheet) for sheet in book.worksheets}
    filled = {title: rows for title, rows in sheets.items() if rows}
    hits = {title: _hits(rows, known) for title, rows in filled.items()}
    tables = [title for title, count in hits.items() if count and count == max(hits.values())]
    if len(tables) > 1:
        found = f"the table in {len(tables)} sheets: {', '.join(map(repr, tables[:5]))}"
        remedy = "Delete the others, or save the one that is meant as CSV."
        raise ExchangeError(Problem(path.name, found, "it in one", remedy))
    if not filled:
        raise ExchangeError(Problem(path.name, "an empty workbook", "a table with a header row"))
    title = tables[0] if tables else next(iter(filled))
    if merged:
        _refuse_merged(path, merged)
    others = [repr(each) for each in filled if each != title]
    notes = [f"read from sheet {title!r}; passed over: {', '.join(others[:5])}"] if others else []
    return title, filled[title], notes


@contextmanager
def _plainly(path: Path) -> Iterator[None]:
    try:
        yield
    except RecursionError:
        raise _no_workbook(path, "parts nested too deeply") from None
    except _TROUBLE as error:
        what = " ".join(str(error).split())[:80]
        raise _no_workbook(path, f"a damaged workbook ({what})") from None


def _no_workbook(path: Path, found: str) -> ExchangeError:
    return ExchangeError(Problem(path.name, found, "a workbook with a table", _PLAIN))


def _look_through(path: Path, content: bytes) -> list[str]:
    """Bound every part before it is parsed; give the merged cells."""
    end = content[-len(MARK) :]
    ours = is_mark(end.decode("latin-1"))
    count, size = directory_of(content, len(MARK) if ours else 0)
    if not 0 < count <= _MOST_PARTS or not 0 < size <= _MOST_DIRECTORY:
        raise _no_workbook(path, "a file that is no plain ZIP archive")
    merged = []
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        parts = archive.infolist()
        if sum(part.file_size for part in parts) > _MOST_BYTES:
            raise _no_workbook(path, f"more than {_MOST_BYTES // 10**6} MB when unpacked")
        for part in parts:
            if part.flag_bits & 1:
                raise _no_workbook(path, "an encrypted part")
            if part.filename.endswith((".xml", ".rels")):
                with archive.open(part) as file:
                    text = file.read(_MOST_BYTES + 1)
                _refuse_entities(path, part.filename, text)
                if "/worksheets/" in part.filename:
                    _bound_sheet(path, part.filename, text)
                    merged += [found.decode() for found in _MERGED.findall(text)]
    return merged


def _refuse_entities(path: Path, part: str, text: bytes) -> None:
    """Refuse what lets a little text grow or fetch other files: XML 1.0, 4.1 and 4.2.2."""
    if b"<!" in text.replace(b"<!--", b"").replace(b"<![CDATA[", b"") or b"\0" in text[:200]:
        raise _no_workbook(path, f"a document type or an odd encoding in {part}")


def _bound_sheet(path: Path, part: str, text: bytes) -> None:
    if len(_CELL.findall(text)) > MOST_CELLS or len(_ROW.findall(text)) > MOST_ROWS:
        raise _no_workbook(path, f"more than {MOST_ROWS:,} rows in {part}")
    for letters, digits in set(_PLACE.findall(text)):
        row = int(digits[:12] or 0)
        if row > MOST_ROWS or len(letters) > 3 or _column(letters) > MOST_COLUMNS:
            where = f"{letters.decode()}{digits.decode()[:12]}"
            found = f"the cell {where} in {part}"
            expected = f"at most {MOST_ROWS:,} rows and {MOST_COLUMNS} columns"
            remedy = "Delete the empty rows and columns beyond the table, and save it again."
            raise ExchangeError(Problem(path.name, found, expected, remedy))


def _column(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + letter - 64
    return number


def _refuse_merged(path: Path, merged: Sequence[str]) -> None:
    raise ExchangeError(
        *(
            Problem(f"{path.name}, cells {cells}", "merged cells", "single cells", "Unmerge them.")
            for cells in list(merged)[:10]
        )
    )


def _rows(sheet: Any) -> Rows:
    """Read the rows with something in them."""
    rows: Rows = []
    for cells in sheet.iter_rows(max_row=MOST_ROWS, max_col=MOST_COLUMNS):
        texts = [_text(cell) for cell in cells]
        while texts and not texts[-1]:
            texts.pop()
        if texts:
            rows.append((next(cell.row for cell in cells if cell.value is not None), texts))
    return rows


def _hits(rows: Rows, known: set[str]) -> int:
    return sum(text.strip().casefold() in known for text in rows[0][1])


def _text(cell: Any) -> str:
    """Give a cell as text; what a spreadsheet may have made of something else is marked."""
    value, kind = cell.value, cell.data_type
    if value is None:
        return ""
    if kind == "f":
        shown = value if isinstance(value, str) else f"={getattr(value, 'text', '')}"
        remedy = "Put its value there: copy, then paste values only."
        return refused_cell(str(shown)[:60] or "=", "a value, not a formula", remedy)
    if kind == "e":
        return refused_cell(str(value), "a value, not an error")
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, int | float):
        return _number(float(value), str(cell.number_format))
    if isinstance(value, datetime) and value.time() == datetime.min.time():
        return DateText(value.date().isoformat())
    if isinstance(value, date) and not isinstance(value, datetime):
        return DateText(value.isoformat())
    if isinstance(value, str):
        return _ESCAPED.sub(lambda found: chr(int(found[1], 16)), value).strip()
    return refused_cell(str(value), "a number or a text, not a time of day", _FORMAT)


_FORMAT = "Format the cell as text or as a plain number, and type it again."


def _number(value: float, form: str) -> str:
    if "%" in form:
        shown = f"{100 * value:.10g} %"
        return refused_cell(
            shown, "a plain number; it is kept as a hundredth of what is shown", _FORMAT
        )
    return f"{value:.0f}" if value.is_integer() and abs(value) < 1e15 else repr(value)


def workbook_bytes(rows: Sequence[Sequence[str | float]]) -> bytes:
    """Write one sheet: numbers as numbers, texts as texts, whatever they begin with.

    Parameters
    ----------
    rows : sequence of sequences
        Header first; an empty text is an empty cell.

    Returns
    -------
    bytes
        A workbook, sealed in the comment of the ZIP archive.
    """
    book = Workbook(write_only=True)
    sheet = book.create_sheet(_TABLE)
    sheet.freeze_panes = "B2"
    for place, name in enumerate(rows[0], start=1):
        sheet.column_dimensions[get_column_letter(place)].width = max(10, len(str(name)) + 2)
    for place, row in enumerate(rows):
        sheet.append([_cell(sheet, value, head=place == 0) for value in row])
    target = io.BytesIO()
    book.save(target)
    with zipfile.ZipFile(target, "a") as archive:
        archive.comment = MARK.encode()  # where `seal` puts its digest
    return seal(target.getvalue())


def _cell(sheet: Any, value: str | float, *, head: bool) -> Any:
    if value == "":
        return None
    cell = WriteOnlyCell(sheet, value=_escaped(value) if isinstance(value, str) else value)
    if isinstance(value, str):
        # A text that begins with = is a formula unless the kind of the cell is said.
        cell.data_type = "s"
        cell.number_format = "@"  # text: what is typed there later stays as it is typed
    if head:
        cell.font = Font(bold=True)
    return cell


def _escaped(text: str) -> str:
    return _NO_XML.sub(lambda found: f"_x{ord(found[0]):04X}_", text)
