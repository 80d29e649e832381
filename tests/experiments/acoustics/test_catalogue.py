from __future__ import annotations

import subprocess
import sys

import pytest

from experiments.acoustics.catalogue import KINDS, MEASURES, OPTION_NAMES, convert, resolve

NAMES = [
    "level_db", "lower_limit_hz", "upper_limit_hz", "deviation_db", "deviation_sd_db",
    "breakup_hz", "breakup_q", "thd_peak_percent", "thd_peak_hz", "hd2_percent", "hd3_percent",
    "hd4_percent", "hd5_percent", "decay_ms", "mass_g",
]  # fmt: skip


def test_the_measures_of_the_contract():
    assert list(MEASURES) == NAMES


@pytest.mark.parametrize("name", NAMES)
def test_every_measure_is_stated(name):
    measure = MEASURES[name]
    assert measure.name == name
    assert measure.label
    assert measure.definition.endswith(".")
    assert measure.standard
    assert measure.other_readings
    assert set(measure.kinds) <= {*KINDS, "hand"}
    assert set(measure.options) <= set(OPTION_NAMES)
    for ending, unit in (("_db", "dB"), ("_hz", "Hz"), ("_percent", "%"), ("_ms", "ms")):
        assert name.endswith(ending) == (measure.unit == unit)


@pytest.mark.parametrize(
    ("short", "full"),
    [("upper_limit", "upper_limit_hz"), ("thd_peak", "thd_peak_percent"), ("hd2", "hd2_percent"),
     ("decay", "decay_ms"), ("mass", "mass_g"), ("breakup", "breakup_hz"), ("level", "level_db"),
     ("deviation_sd", "deviation_sd_db"), ("decay_ms", "decay_ms")],
)  # fmt: skip
def test_short_forms(short, full):
    assert resolve(short).name == full


def test_an_unknown_measure_is_refused_with_suggestions():
    with pytest.raises(KeyError, match="upper_limit"):
        resolve("uper_limit")
    with pytest.raises(KeyError, match="known are"):
        resolve("zzz")


@pytest.mark.parametrize(
    ("value", "old", "new", "expected"),
    [(14300.0, "Hz", "kHz", 14.3), (14.3, "kHz", "Hz", 14300.0), (0.0123, "s", "ms", 12.3),
     (5.0, "ms", "s", 0.005), (3.0, "dB", "dB", 3.0), (2.0, "g", "g", 2.0)],
)  # fmt: skip
def test_convert(value, old, new, expected):
    assert convert(value, old, new) == pytest.approx(expected, rel=1e-15)


@pytest.mark.parametrize(("old", "new"), [("Hz", "ms"), ("Hz", "lb"), ("x", "Hz"), ("", "%")])
def test_convert_refuses(old, new):
    with pytest.raises(ValueError, match=r"unit|cannot"):
        convert(1.0, old, new)


def test_the_catalogue_loads_no_numerical_library():
    code = (
        "import sys, experiments.acoustics.catalogue, experiments.acoustics;"
        "sys.exit(any(name in sys.modules for name in ('numpy', 'scipy', 'pandas')))"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
