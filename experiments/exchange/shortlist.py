"""A shortlist of recipes as a spreadsheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from experiments.errors import ExchangeError, Problem, RecipeError
from experiments.exchange.cells import RawSheet
from experiments.naming import meant
from experiments.space import Space

if TYPE_CHECKING:
    import pandas as pd

    from experiments.plan import Plan

__all__ = ["shortlist_of"]


def shortlist_of(sheet: RawSheet, file: str, plan: Plan) -> pd.DataFrame:
    """Read recipes, one a row, one column a variable; cells of inactive variables are empty.

    Parameters
    ----------
    sheet : RawSheet
        The cells.
    file : str
        What it is called.
    plan : Plan
        Its variables, on their steps and within its rules. Other columns are left alone.

    Returns
    -------
    pandas.DataFrame
        Numbers as floats, words as text; NaN or None where a cell is empty.

    Raises
    ------
    ExchangeError
        With every problem: no rows, a missing column, a recipe that cannot be printed.
    """
    places = _places(sheet, plan, file)
    space = Space(plan)
    problems: list[Problem | str] = []
    recipes = []
    for line, row in sheet.rows:
        where = f"{file}, line {line}"
        if any(row[len(sheet.header) :]):
            problems.append(_too_long(where, len(row), sheet))
            continue
        cells = {name: row[at] for name, at in places.items() if at < len(row)}
        try:
            recipes.append(space.complete(cells))
        except RecipeError as error:
            problems += [_located(where, one, plan) for one in error.problems]
    if problems:
        raise ExchangeError(*problems)
    return space.rows(recipes)


def _places(sheet: RawSheet, plan: Plan, file: str) -> dict[str, int]:
    """Find the column of each variable, called by name or by label."""
    names = [meant(name, plan.variables) for name in sheet.header]
    problems = [
        Problem(f"{file}, line 1", f"the column {name} {count} times", "it once")
        for name in plan.variables
        if (count := names.count(name)) > 1
    ]
    missing = [name for name in plan.variables if name not in names]
    if missing:
        found = f"no column {', '.join(missing)}"
        problems.append(Problem(f"{file}, line 1", found, "one column a variable"))
    if not sheet.rows:
        wanted = "a line of names and at least one recipe"
        problems.append(Problem(file, "no recipe", wanted))
    if problems:
        raise ExchangeError(*problems)
    return {name: names.index(name) for name in plan.variables}


def _too_long(where: str, count: int, sheet: RawSheet) -> Problem:
    comma = "With commas between the cells, a number with a decimal comma needs quotes around it."
    wanted = f"at most {len(sheet.header)}"
    return Problem(where, f"{count} cells", wanted, comma if sheet.delimiter == "," else "")


def _located(where: str, problem: Problem | str, plan: Plan) -> Problem | str:
    """Say where in the file a problem of a recipe stands."""
    if isinstance(problem, str):
        return f"{where}: {problem}"
    column = "column " if problem.where in plan.variables else ""
    place = f"{where}, {column}{problem.where}"
    return Problem(place, problem.found, problem.expected, problem.remedy)
