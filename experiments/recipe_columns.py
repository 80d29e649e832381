"""From the columns of a table of recipes to what formulas and codes are made of."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import Problem, RecipeError
from experiments.expressions import Column
from experiments.grammar import suggest
from experiments.plan_parts import Variable, as_word
from experiments.tree import Codes

__all__ = ["exact_codes", "nearest_codes", "read_column"]


def read_column(frame: pd.DataFrame, variable: Variable) -> Column:
    """Take one variable's column out of a table.

    Parameters
    ----------
    frame : DataFrame
        Recipes, one column a variable; missing values mean inactive.
    variable : Variable
        Which column.

    Returns
    -------
    Column
        Numbers, or for words their places among the levels, -1 where inactive.

    Raises
    ------
    RecipeError
        If the column is missing, or holds a word that is no level or text that is no number.
    """
    name = variable.name
    if name not in frame:
        raise RecipeError(Problem(f"column {name}", "no such column", "one column a variable"))
    data = frame[name]
    if variable.words is not None:
        codes = _word_codes(name, variable.words, data.to_numpy(dtype=object))
        return Column(codes, codes < 0, variable.words)
    try:
        numbers = pd.to_numeric(data).to_numpy(dtype=np.float64, na_value=np.nan)
    except (TypeError, ValueError) as error:
        raise RecipeError(Problem(f"column {name}", str(error), "numbers")) from None
    return Column(numbers, np.isnan(numbers))


def _word_codes(name: str, words: tuple[str, ...], data: npt.NDArray[Any]) -> Codes:
    known = {word: code for code, word in enumerate(words)}
    codes = np.empty(len(data), dtype=np.int32)
    for row, value in enumerate(data.tolist()):
        if isinstance(value, str):
            code = known.get(value)
        else:  # a level such as "0.4" may have become a number on its way through a spreadsheet
            code = -1 if _absent(value) else known.get(as_word(value))
        if code is None:
            raise RecipeError(
                Problem(
                    f"row {row + 1}, column {name}",
                    repr(value),
                    f"one of {', '.join(words)}",
                    suggest(str(value), words),
                )
            )
        codes[row] = code
    return codes


def _absent(value: Any) -> bool:
    return value is None or value is pd.NA or bool(value != value)


def nearest_codes(grid: npt.NDArray[np.float64], values: npt.NDArray[np.float64]) -> Codes:
    """Give the place of the nearest grid value; half-way goes up, NaN is -1.

    Parameters
    ----------
    grid : ndarray, shape (values,)
        Rising.
    values : ndarray, shape (n,)
        Any numbers.
    """
    middles = grid[:-1] + np.diff(grid) / 2
    places = np.searchsorted(middles, values, side="right")
    return np.where(np.isnan(values), -1, places).astype(np.int32)


def exact_codes(grid: npt.NDArray[np.float64], values: npt.NDArray[np.float64]) -> Codes:
    """Give the place of a value that is on the grid, up to rounding; else -1.

    Parameters
    ----------
    grid : ndarray, shape (values,)
        Rising.
    values : ndarray, shape (n,)
        Any numbers.
    """
    places = nearest_codes(grid, values)
    # A millionth of the smallest step, as when the plan itself is read.
    spacing = np.diff(grid).min() if len(grid) > 1 else max(1.0, abs(float(grid[0])))
    off = np.abs(np.append(grid, np.nan)[places] - values) > 1e-6 * spacing
    return np.where(off, -1, places).astype(np.int32)
