from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.acoustics.dialect import Dialect, decode, read_token, sniff, split, uncomment
from experiments.errors import CurveError


@pytest.mark.parametrize(
    ("cell", "decimal", "value", "unit"),
    [
        ("1.5", ".", 1.5, ""), ("-1.5e3", ".", -1500.0, ""), ("+.5", ".", 0.5, ""),
        ("5.", ".", 5.0, ""), ("1,5", ",", 1.5, ""), ("1,5E-2", ",", 0.015, ""),
        ("1.5D+02", ".", 150.0, ""), ("20 Hz", ".", 20.0, "hz"), ("1.2k", ".", 1.2, "k"),
        ("85dB", ".", 85.0, "db"), ("3,5 %", ",", 3.5, "%"), ("1,234.5", ".", 1234.5, ""),
        ("1.234,5", ",", 1234.5, ""), ("12,345,678.9", ".", 12345678.9, ""),
    ],
)  # fmt: skip
def test_numbers(cell, decimal, value, unit):
    token = read_token(cell, decimal)
    assert token.value == pytest.approx(value)
    assert token.unit == unit


@pytest.mark.parametrize("cell", ["", " ", "NaN", "---", "-", "n/a", "#N/A", "-inf", "null", "?"])
def test_gaps(cell):
    assert math.isnan(read_token(cell, ".").value)


@pytest.mark.parametrize(
    "cell", ["1_000", "0x10", "1,234", "1 2", "1.2.3", "eight", "--5", "12:30"]
)
def test_words(cell):
    assert read_token(cell, ".").value is None


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (["a;b", "1;2", "3;4"], Dialect(";", ".", 2)),
        (["1,5;2,5", "3,5;4,5"], Dialect(";", ",", 2)),
        (["1.5,2.5", "3.5,4.5"], Dialect(",", ".", 2)),
        (["1.5 2.5 3", "3.5 4.5 3"], Dialect(None, ".", 3)),
        (["1,5 2,5", "3,5 4,5"], Dialect(None, ",", 2)),
        (["1.5\t2.5", "3.5\t4.5"], Dialect("\t", ".", 2)),
        (["1|2", "3|4"], Dialect("|", ".", 2)),
        (["0.5", "0.25", "-1"], Dialect(None, ".", 1)),
        (["0,5", "0,025", "-1,0"], Dialect(None, ",", 1)),
        (["48000", "2", "1.5;2", "1.7;3", "1.8;4"], Dialect(";", ".", 2)),
    ],
)
def test_sniff(lines, expected):
    assert sniff(lines, "x") == expected


def test_sniff_refuses_words():
    with pytest.raises(CurveError, match="rows of numbers"):
        sniff(["hello there", "general"], "x.txt")


@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1"]
)
def test_decode(encoding):
    text = "Frequency (Hz);Pegel (dB) \xfcber alles\n" + "100.5;80.25\n" * 30
    assert decode(text.encode(encoding), "x")[0] == text


@pytest.mark.parametrize("raw", [bytes(range(256)) * 8, b"\xff\xfe\x00", b"ab\x00cd" * 50])
def test_decode_refuses_what_is_no_text(raw):
    with pytest.raises(CurveError):
        decode(raw, "x")


@given(st.floats(allow_nan=False, allow_infinity=False, width=32))
def test_every_float_is_read_back(value):
    assert read_token(repr(value), ".").value == value
    assert read_token(repr(value).replace(".", ","), ",").value == value


def test_split_and_uncomment():
    assert split('"a" ; "b" ;', ";") == ["a", "b"]
    assert split("  a   b ", None) == ["a", "b"]
    assert uncomment("  ## * Hz dB ") == "Hz dB"
