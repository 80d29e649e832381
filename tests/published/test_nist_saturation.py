"""NIST Statistical Reference Datasets, nonlinear regression: Misra1a and BoxBOD.

Both fit ``y = b1 (1 - exp(-b2 x))``, our saturating law; certified values and data from
https://www.itl.nist.gov/div898/strd/nls/ (from memory).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from optimiser.ageing_laws import Span, curve

MISRA_X = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1,
           689.1, 760.0]  # fmt: skip
MISRA_Y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40,
           75.47, 81.78]  # fmt: skip
CASES = {
    "Misra1a": (MISRA_X, MISRA_Y, 2.3894212918e2, 5.5015643181e-4, 1.2455138894e-1),
    "BoxBOD": (
        [1, 2, 3, 5, 7, 10], [109, 149, 149, 191, 213, 224],
        2.1380940889e2, 5.4723748542e-1, 1.1680088766e3,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_certified_values(name):
    x, y, b1, b2, squares = CASES[name]
    times, values = np.array(x, dtype=float), np.array(y, dtype=float)
    span = Span(0.0, times.max())

    def left(log_shape: float) -> float:
        law = curve(2, np.exp(log_shape), times, span)
        return float(np.sum((values - law * (law @ values) / (law @ law)) ** 2))

    best = optimize.minimize_scalar(
        left, bounds=(np.log(span.longest / 20), np.log(span.longest * 5)), method="bounded",
        options={"xatol": 1e-10},
    )  # fmt: skip
    shape = float(np.exp(best.x))
    law = curve(2, shape, times, span)
    factor = float(law @ values / (law @ law))  # the rise from the first time to the longest
    assert 1 / shape == pytest.approx(b2, rel=1e-5)
    assert factor / (1 - np.exp(-span.longest / shape)) == pytest.approx(b1, rel=1e-5)
    assert best.fun == pytest.approx(squares, rel=1e-8)
