from __future__ import annotations

import pytest

from experiments.acoustics.catalogue import OPTION_NAMES
from experiments.acoustics.options import Options, Sweep
from experiments.errors import CurveError


def test_defaults():
    options = Options()
    assert options.drop_db == 10.0
    assert options.prominence_db == 3.0
    assert options.thd_of == "fundamental"
    assert options.smooth is None
    assert options.band is None


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("drop_db", 0), ("drop_db", "ten"), ("drop_db", float("nan")), ("drop_db", True),
        ("smooth", 0), ("smooth", 1000), ("band", (200,)), ("band", (500, 200)),
        ("band", (0, 200)), ("band", 5), ("thd_of", "noise"), ("prominence_db", -1),
        ("channel", 0), ("channel", 1.5), ("loopback", "2"), ("rate", -48000),
    ],
)  # fmt: skip
def test_bad_values_are_refused_by_name(name, value):
    with pytest.raises(CurveError, match=name):
        Options(**{name: value})


def test_with_values():
    options = Options(drop_db=6).with_values({"band": [200, 4000], "smooth": 3})
    assert options.band == (200.0, 4000.0)
    assert options.drop_db == 6
    with pytest.raises(CurveError, match="colour"):
        options.with_values({"colour": 1})


def test_every_option_of_the_catalogue_exists():
    for name in OPTION_NAMES:
        assert hasattr(Options(), name)


def test_sweep_from_text():
    assert Sweep.from_text("20:20000:10") == Sweep(20.0, 20000.0, 10.0)


@pytest.mark.parametrize(
    "text",
    ["", "20:20000", "20:20000:10:1", "a:b:c", "20000:20:10", "0:100:1", "20:20000:-1", "nan:1:1"],
)
def test_sweep_refuses(text):
    with pytest.raises(CurveError):
        Sweep.from_text(text)


def test_sweep_refuses_an_unknown_law():
    with pytest.raises(CurveError, match="law"):
        Sweep(20, 20000, 1, "linear")
