from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.acoustics.curves import Distortion, Impulse, Response, tidy
from experiments.errors import CurveError
from tests.examples import examples

F = np.array([100.0, 200.0, 400.0])


def test_arrays_are_copied_and_read_only():
    level = np.array([1.0, 2.0, 3.0])
    curve = Response(F, level)
    level[0] = 99.0
    assert curve.level[0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        curve.level[0] = 5.0


@pytest.mark.parametrize(
    "make",
    [
        lambda: Response([100.0], [1.0]),
        lambda: Response([100.0, 100.0], [1.0, 2.0]),
        lambda: Response([200.0, 100.0], [1.0, 2.0]),
        lambda: Response([0.0, 100.0], [1.0, 2.0]),
        lambda: Response(F, [1.0, 2.0]),
        lambda: Response(F, [1.0, np.nan, 2.0]),
        lambda: Response(F, np.ones((3, 1))),
        lambda: Distortion(F),
        lambda: Distortion(F, [1.0, -2.0, 3.0]),
        lambda: Distortion(F, None, {1: [1.0, 1.0, 1.0]}),
        lambda: Impulse(np.zeros(3), 48000.0),
        lambda: Impulse(np.zeros(100), 0.0),
        lambda: Impulse(np.full(100, np.inf), 48000.0),
    ],
)
def test_what_is_no_curve_is_refused(make):
    with pytest.raises(CurveError):
        make()


def test_distortion_keeps_gaps():
    curve = Distortion(F, [1.0, np.nan, 2.0], {3: [1.0, 1.0, np.nan], 2: [0.0, 0.0, 0.0]})
    assert list(curve.harmonics) == [2, 3]
    assert np.isnan(curve.thd[1])


def test_time_of_an_impulse():
    assert Impulse(np.zeros(48), 48000.0, -0.001).time[-1] == pytest.approx(-0.001 + 47 / 48000)


@given(st.lists(st.tuples(st.integers(1, 20), st.floats(-50, 50)), min_size=1, max_size=40))
@settings(max_examples=examples(60), deadline=None)
def test_tidy_sorts_and_averages(rows):
    keys, values = zip(*rows, strict=True)
    found = tidy(keys, values)
    assert np.all(np.diff(found.frequency) > 0)
    assert found.merged == len(rows) - len(set(keys))
    assert found.was_sorted == (list(keys) == sorted(keys))
    for key, mean in zip(found.frequency, found.columns[0], strict=True):
        expected = [value for k, value in rows if k == key]
        assert mean == pytest.approx(np.mean(expected), abs=1e-9)


def test_tidy_leaves_gaps_out_of_means():
    found = tidy([1, 1, 2], [5.0, np.nan, np.nan])
    np.testing.assert_array_equal(found.columns[0], [5.0, np.nan])
