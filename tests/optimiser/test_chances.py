"""The chance that a recipe prints, in words."""

from __future__ import annotations

import pytest

from optimiser.answers import UNTOLD, Estimate
from optimiser.chances import chance_to_print


@pytest.mark.parametrize(
    ("low", "high", "wanted"),
    [(0.41, 0.95, "(41 to 95)"), (0.002, 0.998, "(1 to 99)")],
)
def test_a_chance_of_printing_has_an_interval_that_is_never_certain(low, high, wanted):
    told = chance_to_print(0.77, Estimate(0.77, low, high, 28)).replace("\xa0", " ")
    assert told == f"77 % {wanted}, from 28 prints"
    assert chance_to_print(0.77, UNTOLD) == "77\xa0%"
