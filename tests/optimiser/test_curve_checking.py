"""How far left-out cones are missed, against cones of one recipe."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from statsmodels.formula.api import ols

from optimiser.curve_checking import check_curves
from optimiser.curve_model import fit_curves
from tests.curve_workshops import known_family, known_plan


def test_prints_of_one_recipe_are_compared_as_an_analysis_of_variance_does():
    trials, readings = known_family(8, seed=8)
    recipe = ["wall", "process", "cure"]
    for twin, first in ((1, 0), (2, 0), (6, 5)):
        trials.loc[twin, recipe] = trials.loc[first, recipe].to_numpy()
    model = fit_curves(known_plan(), trials, readings)
    (check,) = check_curves(model)
    assert check.pairs == 3
    curves = model.families["response"].bundle.values
    groups = trials[recipe].map(str).agg(" ".join, axis=1)
    residual = [
        ols("y ~ C(g)", pd.DataFrame({"y": column, "g": groups})).fit().mse_resid
        for column in curves.T[::20]
    ]
    squares = []
    for group in groups.unique():
        alike = curves[groups == group][:, ::20]
        squares.append(((alike - alike.mean(axis=0)) ** 2).sum(axis=0))
    assert np.sum(squares, axis=0) / 3 == pytest.approx(residual)
    seen = np.mean([((curves[groups == g] - curves[groups == g].mean(axis=0)) ** 2).sum(axis=0)
                    for g in groups.unique()], axis=1).sum()  # fmt: skip
    assert check.prints == pytest.approx(np.sqrt(seen / 3))


def test_without_a_model_the_mean_of_the_others_is_missed():
    trials, readings = known_family(10, seed=8)
    model = fit_curves(known_plan(), trials, readings)
    (check,) = check_curves(model)
    curves = model.families["response"].bundle.values
    # n / (n - 1) times the departure from the mean of all.
    apart = (curves - curves.mean(axis=0)) * 10 / 9
    assert check.spread == pytest.approx(np.sqrt(np.mean(apart**2)))
    assert check.error**2 == pytest.approx(np.mean(check.table["error"] ** 2))
    assert check.usual == pytest.approx(np.median(check.table["error"]))
