"""Records of spread and drift: what they derive from their own fields."""

from __future__ import annotations

import pytest

from optimiser.uncertainty import Chart


@pytest.mark.parametrize(
    ("outside", "jumped", "moved"),
    [
        ("....", "....", "...."),
        (".x..", ".xx.", ".x.."),  # it leaves, and comes back
        ("....", "..x.", "..x."),  # a jump within the limits
        ("..xx", "..x.", "..xx"),  # it leaves and stays
        ("x...", ".x..", "x..."),
    ],
)
def test_a_reading_that_comes_back_has_not_moved(outside, jumped, moved):
    flags = [[mark == "x" for mark in text] for text in (outside, jumped)]
    chart = Chart("level", "level", "dB", [], [], [], 0, 0, 0, [], 0, *flags, 0)
    assert "".join("x" if each else "." for each in chart.moved) == moved
