from __future__ import annotations

import numpy as np

from optimiser.figures.overlay import thin


def test_a_narrow_peak_and_dip_survive_thinning():
    x = np.geomspace(20, 20000, 100_000)
    y = np.zeros_like(x)
    y[40_000], y[70_000] = 9.0, -7.0
    seen_x, seen_y = thin(x, y, most=400)
    assert seen_x.size <= 400
    assert seen_y.max() == 9.0
    assert seen_y.min() == -7.0
    assert np.all(np.diff(seen_x) > 0)
    assert seen_x[seen_y.argmax()] == x[40_000]


def test_a_short_curve_stays_as_it_is_but_for_what_cannot_be_drawn():
    x = np.array([0.0, 10.0, 20.0, 30.0])
    y = np.array([1.0, 2.0, np.nan, 4.0])
    seen_x, seen_y = thin(x, y)
    assert list(seen_x) == [10.0, 30.0]
    assert list(seen_y) == [2.0, 4.0]
