from __future__ import annotations

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optimiser.command.options import Whole, parse_number, parse_pairs


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


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_a_picture_replaces_pictures_of_ours_only(run, response, tmp_path, kind):
    made = tmp_path / f"made.{kind}"
    other = tmp_path / f"other.{kind}"
    mark = {"png": b"\x89PNG\r\n\x1a\n", "svg": b'<?xml version="1.0"?>\n<svg></svg>'}[kind]
    other.write_bytes(mark + b"drawn by somebody else")
    for _ in range(2):
        assert run("listen", response, f"--{kind}", made).status == 0
    told = run("listen", response, f"--{kind}", other)
    assert told.status == 2
    assert "--force" in told.err
    assert told.out == ""
    assert other.read_bytes().startswith(mark + b"drawn")
    assert run("listen", response, f"--{kind}", other, "--force").status == 0
    assert other.read_bytes() == made.read_bytes()


@pytest.mark.parametrize("kind", ["png", "svg"])
def test_a_picture_never_takes_the_place_of_a_measurement(run, response, tmp_path, kind):
    raw = response.read_bytes()
    for flags in ((), ("--force",)):
        told = run("listen", response, f"--{kind}", response, *flags)
        assert told.status == 2
        assert f"expected .{kind}" in told.err
    assert response.read_bytes() == raw
    assert run("listen", response, f"--{kind}", tmp_path / "none" / f"x.{kind}").status == 2
    assert not (tmp_path / "none").exists()


@pytest.mark.parametrize(("most", "words"), [(50, "from 1 to 50"), (None, "from 1 upwards")])
@pytest.mark.parametrize("text", ["two", "0", "1.5"])
def test_what_is_no_whole_number_is_told_which_can_be(text, most, words):
    with pytest.raises(click.BadParameter) as refusal:
        Whole(1, most).convert(text, None, None)
    assert refusal.value.message == f"found {text!r}, expected a whole number {words}"
    assert Whole(1, most).convert("7", None, None) == 7
