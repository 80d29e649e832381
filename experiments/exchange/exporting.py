"""The table as a CSV file."""

from __future__ import annotations

from pathlib import Path

from experiments.errors import ExchangeError, Problem
from experiments.exchange.cells import EXACT, HEARD, cell_text, write_sheet
from experiments.exchange.rows import columns_of
from experiments.ledger import Ledger
from experiments.outputs import MARK, Kind, check_output, is_sealed

__all__ = ["export_csv"]

_TABLE = Kind("a table", (".csv",), is_sealed)


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
    check_output(path, _TABLE, force=force)
    ledger.refuse_stale()
    plan = ledger.plan
    names = columns_of(plan)
    frame = ledger.full_table()
    # Whole columns at once: object arrays hold None for what is missing.
    columns = []
    for name in names:
        digits = HEARD if name in plan.metrics else EXACT
        values = frame[name].astype(object).where(frame[name].notna(), None)
        columns.append([cell_text(value, decimal, digits) for value in values])
    rows = zip(*columns, strict=True)
    write_sheet(path, [[*names, MARK], *([*row, ""] for row in rows)], delimiter)
    return path
