"""The table as a spreadsheet: a CSV file or a workbook."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from experiments.errors import ExchangeError, Problem
from experiments.exchange.cells import EXACT, HEARD, cell_text, write_sheet
from experiments.exchange.rows import columns_of
from experiments.ledger import Ledger
from experiments.outputs import MARK, Kind, check_output, is_sealed, write_whole

__all__ = ["export_csv", "export_table"]

_TABLE = Kind("a table", (".csv", ".xlsx"), is_sealed)


def export_csv(
    ledger: Ledger,
    path: str | Path,
    *,
    delimiter: str | None = None,
    decimal: str = ".",
    force: bool = False,
) -> Path:
    """Write the table as a CSV file, one row a measurement.

    Metrics have six significant digits, other numbers as many as they need. Taken in again the
    file changes nothing. The heading of a last, empty column tells the file from one that was
    edited.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    path : path
        The file, ``.csv``; an older table of ours that nobody edited is replaced.
    delimiter : {",", ";"}, optional
        What separates the cells; a semicolon where the decimal mark is a comma.
    decimal : {".", ","}
        The decimal mark.
    force : bool
        Replace a file even if it is no table of ours, or was edited.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ExchangeError
        For another delimiter or decimal mark.
    LedgerError
        If values were stored under another definition of their metric.
    OutputError
        If the name does not fit, another file stands there, or the file cannot be written.
    """
    delimiter = delimiter or (";" if decimal == "," else ",")
    if delimiter not in (",", ";") or decimal not in (".", ","):
        raise ExchangeError(
            Problem(
                "export", f"delimiter {delimiter!r}, decimal {decimal!r}", "',' ';' and '.' ','"
            )
        )
    path = Path(path)
    check_output(path, replace(_TABLE, suffixes=(".csv",)), force=force)
    names, columns = _cells(ledger)
    texts = [[cell_text(value, decimal, digits) for value in values] for values, digits in columns]
    rows = zip(*texts, strict=True)
    write_sheet(path, [[*names, MARK], *([*row, ""] for row in rows)], delimiter)
    return path


def export_table(
    ledger: Ledger, path: str | Path, *, decimal: str = ".", force: bool = False
) -> Path:
    """Write the table as a CSV file or, where the name ends in ``.xlsx``, as a workbook.

    Parameters
    ----------
    ledger, path, decimal, force
        As in `export_csv`; a workbook has no decimal mark of its own.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ExchangeError, LedgerError, OutputError
        As in `export_csv`.
    """
    path = Path(path)
    if path.suffix.lower() != ".xlsx":
        check_output(path, _TABLE, force=force)
        return export_csv(ledger, path, decimal=decimal, force=force)
    # Not for those who want no workbook: the library takes a while to load.
    from experiments.exchange.workbook import workbook_bytes

    check_output(path, _TABLE, force=force)
    names, columns = _cells(ledger)
    found = [[_cell(value, digits) for value in values] for values, digits in columns]
    return write_whole(path, workbook_bytes([names, *zip(*found, strict=True)]))


def _cells(ledger: Ledger) -> tuple[list[str], list[tuple[list[Any], int]]]:
    """Give the names of the columns; the values of each, None for nothing, and their digits."""
    ledger.refuse_stale()
    plan = ledger.plan
    names, frame = columns_of(plan), ledger.full_table()
    columns = []
    for name in names:
        # Whole columns at once: object arrays hold None for what is missing.
        values = frame[name].astype(object).where(frame[name].notna(), None)
        columns.append((values.tolist(), HEARD if name in plan.metrics else EXACT))
    return names, columns


def _cell(value: Any, digits: int) -> str | float:
    """Give the number that the text of a CSV file would mean, or that text."""
    text = cell_text(value, ".", digits)
    return text if isinstance(value, str) or not text else float(text)
