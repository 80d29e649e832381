"""The table as a CSV file."""

from __future__ import annotations

from pathlib import Path

from experiments.errors import ExchangeError, Problem
from experiments.exchange.cells import cell_text, write_sheet
from experiments.exchange.rows import columns_of
from experiments.ledger import Ledger
from experiments.trials import is_mass

__all__ = ["export_csv"]


def export_csv(
    ledger: Ledger, path: str | Path, *, delimiter: str | None = None, decimal: str = "."
) -> Path:
    """Write the table as a CSV file, one row a measurement.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    path : path
        The file; an older one is replaced.
    delimiter : {",", ";"}, optional
        What separates the cells; a semicolon where the decimal mark is a comma.
    decimal : {".", ","}
        The decimal mark.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ExchangeError
        For another delimiter or decimal mark, or if the file cannot be written.
    """
    delimiter = delimiter or (";" if decimal == "," else ",")
    if delimiter not in (",", ";") or decimal not in (".", ","):
        raise ExchangeError(
            Problem(
                "export", f"delimiter {delimiter!r}, decimal {decimal!r}", "',' ';' and '.' ','"
            )
        )
    plan = ledger.plan
    names = columns_of(plan)
    frame = ledger.wide_table()
    unmeasured = frame["measurement"].isna()
    for name, metric in plan.metrics.items():
        if is_mass(metric):
            frame[name] = frame[name].where(~unmeasured, frame["mass_g"])
    # Whole columns at once: object arrays hold None for what is missing.
    columns = [frame[name].astype(object).where(frame[name].notna(), None) for name in names]
    rows = zip(
        *([cell_text(value, decimal) for value in column] for column in columns), strict=True
    )
    path = Path(path)
    write_sheet(path, [names, *rows], delimiter)
    return path
