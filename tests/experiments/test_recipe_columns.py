"""Columns of a table of recipes, in the many ways in which tables hold them."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.errors import RecipeError
from experiments.plan_parts import Variable
from experiments.recipe_columns import exact_codes, nearest_codes, read_column

WORDS = Variable("p", "choice", levels=("resin", "0.4"))
KNOB = Variable("x", "continuous", low=0.2, high=0.6, step=0.1)


@pytest.mark.parametrize(
    "column",
    [
        pd.Series(["0.4", None, "resin"], dtype=object),
        pd.Series([0.4, np.nan, "resin"], dtype=object),
        pd.Series(["0.4", pd.NA, "resin"], dtype="string"),
        pd.Series(["0.4", None, "resin"], dtype="category"),
        pd.Series(["0.4", pd.NaT, "resin"], dtype=object),
        pd.Series(["0.4", None, "resin"], index=[9, 3, 3]),
    ],
)
def test_words(column):
    read = read_column(pd.DataFrame({"p": column}), WORDS)
    assert read.values.tolist() == [1, -1, 0]
    assert read.inactive.tolist() == [False, True, False]
    assert read.levels == ("resin", "0.4")


@pytest.mark.parametrize(
    "column",
    [
        pd.Series([0.3, np.nan, 2]),
        pd.Series([0.3, None, 2], dtype=object),
        pd.Series(["0.3", None, "2"], dtype=object),
        pd.Series([0.3, None, 2], dtype="Float64"),
        pd.Series([0.3, pd.NA, 2], dtype=object),
    ],
)
def test_numbers(column):
    read = read_column(pd.DataFrame({"x": column}), KNOB)
    np.testing.assert_array_equal(read.values, [0.3, np.nan, 2.0])
    assert read.inactive.tolist() == [False, True, False]
    assert read.levels is None


@pytest.mark.parametrize(
    ("data", "variable", "where"),
    [
        ({"p": ["resin", "card"]}, WORDS, "row 2, column p"),
        ({"p": [["resin"]]}, WORDS, "row 1, column p"),
        ({"p": [True]}, WORDS, "row 1, column p"),
        ({"x": ["thick"]}, KNOB, "column x"),
        ({"x": [[1]]}, KNOB, "column x"),
        ({"y": [1]}, KNOB, "column x"),
    ],
)
def test_what_does_not_fit_is_named(data, variable, where):
    with pytest.raises(RecipeError) as caught:
        read_column(pd.DataFrame(data), variable)
    (problem,) = caught.value.problems
    assert problem.where == where


def test_nearest_and_exact_places():
    values = np.array([0.1, 0.2, 0.1 + 0.2, 0.31, 0.36, 0.6, 9.0, np.inf, -np.inf, np.nan])
    assert nearest_codes(KNOB.grid, values).tolist() == [0, 0, 1, 1, 2, 4, 4, 4, 0, -1]
    assert exact_codes(KNOB.grid, values).tolist() == [-1, 0, 1, -1, -1, 4, -1, -1, -1, -1]
    assert exact_codes(np.array([0.0]), np.array([0.0, 1e-3])).tolist() == [0, -1]
