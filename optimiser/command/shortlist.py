"""Reading a shortlist of recipes from a spreadsheet file."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from experiments.errors import ExchangeError, Problem
from optimiser.command.options import parse_pairs

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["read_shortlist"]


def read_shortlist(path: Path, plan: Plan) -> pd.DataFrame:
    """Read recipes, one a row, one column a variable; cells of inactive variables are empty.

    Parameters
    ----------
    path : Path
        CSV with comma, semicolon or tab; decimal point or comma.
    plan : Plan
        Names and kinds of the variables. Other columns are left alone.

    Returns
    -------
    pandas.DataFrame
        Numbers as floats, words as text; NaN or None where a cell is empty.

    Raises
    ------
    ExchangeError
        With every problem: no rows, a missing column, a cell that is no number or no level.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "bytes that are not UTF-8"
        raise ExchangeError(Problem(path.name, reason, "a readable CSV file in UTF-8")) from None
    head = text.split("\n", 1)[0]
    delimiter = max(";\t,", key=head.count)
    rows = [row for row in csv.reader(io.StringIO(text), delimiter=delimiter) if any(row)]
    if len(rows) < 2:
        raise ExchangeError(
            Problem(path.name, f"{len(rows)} lines", "a line of names and at least one recipe")
        )
    names = [name.strip() for name in rows[0]]
    missing = [name for name in plan.variables if name not in names]
    if missing:
        raise ExchangeError(
            Problem(path.name, f"no column {', '.join(missing)}", "one column a variable")
        )
    problems: list[Problem] = []
    columns: dict[str, Any] = {}
    for name, variable in plan.variables.items():
        place = names.index(name)
        cells = [row[place].strip() if place < len(row) else "" for row in rows[1:]]
        values = [
            _value(
                cell,
                variable.numeric,
                variable.words,
                f"{path.name}, row {line}, {name}",
                problems,
            )
            for line, cell in enumerate(cells, start=2)
        ]
        dtype = float if variable.numeric else object
        columns[name] = pd.Series(np.array(values, dtype=dtype), dtype=dtype)
    if problems:
        raise ExchangeError(*problems)
    return pd.DataFrame(columns)


def _value(
    cell: str, numeric: bool, words: tuple[str, ...] | None, where: str, problems: list[Problem]
) -> float | str | None:
    """Read one cell, or note what is wrong with it."""
    if not cell:
        return float("nan") if numeric else None
    if numeric:
        plain = parse_pairs((f"cell={cell}",), where)["cell"]
        try:
            return float(plain)
        except ValueError:
            problems.append(Problem(where, repr(cell), "a number"))
            return float("nan")
    if words is not None and cell not in words:
        problems.append(Problem(where, repr(cell), f"one of {', '.join(words)}"))
    return cell
