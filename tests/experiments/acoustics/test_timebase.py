from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics.table import read_table
from experiments.acoustics.timebase import by_numbers, by_time, counts
from experiments.errors import CurveError

H = np.sin(np.arange(40) * 0.7)


def table(first, form="{:.9f}"):
    rows = [f"{form.format(t)};{h:.6f}" for t, h in zip(first, H, strict=True)]
    return read_table("\n".join(rows).encode(), "a.txt")


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        ([0, 1, 2, 3], True),
        ([3, 1, 2, 0], True),
        ([0, 1, 2, 9, 10], True),  # a gap, refused later with its line
        ([0, 0.5, 1], False),
        ([0, 2, 4], False),
        ([1, 1, 2], False),
        ([0, 1], False),
    ],
)
def test_counts(values, expected):
    assert counts(np.array(values, dtype=float)) is expected


def test_numbers_start_where_they_start():
    found = by_numbers(table(np.arange(-8, 32), "{:.0f}"), 0, H, 8000.0)
    assert (found.rate, found.start) == (8000.0, -0.001)
    np.testing.assert_array_equal(found.samples, H)


@pytest.mark.parametrize("unit", [1.0, 1e-3, 1e-6])
def test_a_stated_rate_settles_the_unit_of_time(unit):
    time = np.arange(40) / 48000
    found = by_time(table(time / unit, "{:.12g}"), 0, "", H, 48000.0)
    assert found.rate == pytest.approx(48000, rel=1e-6)


def test_a_stated_rate_that_no_unit_gives_is_refused():
    with pytest.raises(CurveError, match="44100, the sampling rate stated"):
        by_time(table(np.arange(40) / 48000), 0, "", H, 44100.0)


def test_coarse_times_agree_with_a_stated_rate():
    found = by_time(table(np.arange(40) / 48, "{:.2f}"), 0, "ms", H, 48000.0)
    assert found.rate == pytest.approx(48000, rel=0.01)


def test_a_column_of_milliseconds_stays_one():
    numbers = table(np.arange(40), "{:.0f}")
    assert by_time(numbers, 0, "ms", H).rate == 1000.0
    with pytest.raises(CurveError, match="the sampling rate stated"):
        by_time(numbers, 0, "ms", H, 48000.0)
