"""What a measurement's circumstances may be, and what is odd about a climate."""

from __future__ import annotations

import math

import pytest

from experiments.circumstances import CIRCUMSTANCES, circumstances, climate_remarks
from experiments.errors import LedgerError


def test_what_was_not_given_is_none():
    assert circumstances({"temperature_c": math.nan, "session": "june"}) == dict.fromkeys(
        CIRCUMSTANCES
    )


def test_the_ends_are_allowed():
    given = {"age_days": 0, "light_hours": 0, "temperature_c": -100, "humidity_percent": 100}
    assert circumstances(given) == given
    assert circumstances({"temperature_c": "-5"})["temperature_c"] == -5.0


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("age_days", -1, "age in days: found -1, expected 0 or more"),
        ("light_hours", -0.5, "light in hours: found -0.5"),
        ("temperature_c", 295.15, "temperature in °C: found 295.15, expected 200 or less"),
        ("temperature_c", -273.15, "expected -100 or more"),
        ("humidity_percent", 101, "humidity in %: found 101, expected 100 or less"),
        ("humidity_percent", "wet", "a number"),
    ],
)
def test_what_cannot_be_is_refused(name, value, words):
    with pytest.raises(LedgerError, match=words):
        circumstances({name: value})


def test_another_scale_and_a_fraction_are_remarked_upon():
    assert climate_remarks({"temperature_c": 21.0, "humidity_percent": 45.0}) == []
    assert climate_remarks({"temperature_c": None}) == climate_remarks({}) == []
    (warm,) = climate_remarks({"temperature_c": 70.0})  # Fahrenheit, most likely
    (wet,) = climate_remarks({"humidity_percent": 0.45})
    assert "70 °C" in warm
    assert "not a fraction" in wet
