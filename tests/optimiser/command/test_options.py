from __future__ import annotations

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimiser.command.options import parse_number, parse_pairs


@pytest.mark.parametrize(
    ("text", "value"), [("2.5", 2.5), ("2,5", 2.5), (" -3 ", -3.0), ("1e3", 1000.0)]
)
def test_numbers_with_point_or_comma(text, value):
    assert parse_number(text, "--mass") == value


@pytest.mark.parametrize("text", ["", "two", "nan", "inf", "1,234,5", "1.2.3"])
def test_what_is_no_number_is_refused_by_name(text):
    with pytest.raises(click.BadParameter, match="--mass"):
        parse_number(text, "--mass")


@given(st.floats(-1e6, 1e6).map(lambda value: round(value, 3)))
def test_comma_and_point_read_the_same(value):
    text = f"{value:.3f}"
    assert parse_number(text.replace(".", ","), "x") == parse_number(text, "x") == value


def test_pairs():
    pairs = parse_pairs(("process=resin", "exposure = 2,5", "name=a=b"), "--set")
    assert pairs == {"process": "resin", "exposure": "2.5", "name": "a=b"}


@pytest.mark.parametrize("pairs", [("wall",), ("=3",), ("wall=",), ("wall=1", "wall=2")])
def test_bad_pairs_are_refused(pairs):
    with pytest.raises(click.BadParameter, match="--set"):
        parse_pairs(pairs, "--set")
