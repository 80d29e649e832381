from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics.columns import distortion_of, impulse_of, response_of
from experiments.acoustics.table import read_table
from experiments.errors import CurveError


def table(text):
    return read_table(text.encode(), "a.txt")


def test_phase_in_radians_becomes_degrees():
    found = response_of(table("Hz;dB;Phase (rad)\n1;2;3.14159265\n2;2;0\n3;2;-3.14159265\n"), [])
    np.testing.assert_allclose(found.phase, [180, 0, -180], atol=1e-5)


def test_small_frequencies_without_unit_are_taken_as_kilohertz_with_a_warning():
    warnings = []
    found = response_of(table("f;Level (dB)\n0.05;80\n1;81\n20;82\n"), warnings)
    np.testing.assert_allclose(found.frequency, [50, 1000, 20000])
    assert [item.code for item in warnings] == ["unit_assumed"]


def test_differing_rows_of_one_frequency_warn():
    warnings = []
    found = response_of(table("Hz;dB\n100;80\n100;84\n200;80\n300;80\n"), warnings)
    assert found.level[0] == 82.0
    assert [item.code for item in warnings] == ["duplicates_differ"]


def test_volts_become_decibels():
    found = response_of(table("Hz;Voltage (mV)\n100;1000\n200;100\n300;10\n"), [])
    np.testing.assert_allclose(found.level, [0, -20, -40], atol=1e-9)


@pytest.mark.parametrize(
    "rows",
    [
        "Hz;Level\n100;0.02\n200;1.4\n300;0.9\n",  # pascals, most likely
        "Hz;Magnitude\n100;0.1\n200;11\n300;5\n",
        "Hz;Magnitude\n100;40\n200;620\n300;90\n",  # millipascals
        "100;0.02\n200;0.3\n300;1.1\n",
    ],
)
def test_linear_magnitudes_without_a_unit_are_refused(rows):
    with pytest.raises(CurveError, match="without a unit") as caught:
        response_of(table(rows), [])
    assert "write Pa or V" in caught.value.problems[0].remedy


@pytest.mark.parametrize(
    "rows",
    [
        "Hz;Level\n100;-0.2\n200;1.4\n300;0.9\n",  # about a reference of their own
        "Hz;Level (dB)\n100;0.02\n200;1.4\n300;0.9\n",
        "Hz;Level\n100;0.2 dB\n200;1.4 dB\n300;0.9 dB\n",
        "Hz;SPL\n100;71\n200;83.5\n300;85\n",
        "100;-3\n200;0.3\n300;-1.1\n",
    ],
)
def test_decibels_are_not(rows):
    level = response_of(table(rows), []).level
    assert level[2] == pytest.approx(float(rows.split("\n")[-2].split(";")[1].split()[0]))


@pytest.mark.parametrize("head", ["f;dB", "Frequency;dB", "Hz;dB", "kHz;dB"])
def test_units_in_the_cells_count_before_the_headings(head):
    read = table(f"{head}\n500 Hz;80\n1 kHz;81\n2kHz;82\n")
    np.testing.assert_allclose(response_of(read, []).frequency, [500, 1000, 2000])
    assert "kHz in 2 rows, Hz in 1 rows" in " ".join(read.notes)
    assert "taken as Hz" not in " ".join(read.notes)


def test_cells_with_and_without_unit():
    read = table("f;dB\n500;80\n1 kHz;81\n2 kHz;82\n")
    np.testing.assert_allclose(response_of(read, []).frequency, [500, 1000, 2000])
    assert "1 without a unit taken as Hz" in " ".join(read.notes)
    with pytest.raises(CurveError, match="one unit"):
        response_of(table("f (kHz);dB\n0.5;80\n1 kHz;81\n2 kHz;82\n"), [])
    with pytest.raises(CurveError, match="Hz or kHz"):
        response_of(table("f;dB\n5 ms;80\n10 ms;81\n20 ms;82\n"), [])


def test_an_empty_harmonic_column_stays_unknown():
    found = distortion_of(table("Hz;THD %;HD5 %;HD2 %\n100;3;;2\n200;4;;3\n"), [])
    assert set(found.harmonics) == {2, 5}
    assert np.all(np.isnan(found.harmonics[5]))
    np.testing.assert_array_equal(found.thd, [3, 4])


def test_relative_decibels_beside_a_level():
    found = distortion_of(table("Hz;SPL (dB);H2 (dB)\n100;90;-40\n200;91;-60\n"), [])
    np.testing.assert_allclose(found.harmonics[2], [1.0, 0.1])


def test_both_negative_is_ambiguous():
    with pytest.raises(CurveError, match="both in negative dB"):
        distortion_of(table("Hz;Fundamental (dB);H2 (dB)\n100;-20;-60\n200;-21;-61\n"), [])


@pytest.mark.parametrize(
    "text",
    [
        "Hz;THD %;THD %\n1;2;3\n2;3;4\n", "Hz;H2 %;HD2 %\n1;2;3\n2;3;4\n",
        "Hz;Hz;dB\n1;2;3\n2;3;4\n3;4;5\n", "Hz;a;b\n1;2;3\n2;3;4\n",
        "Hz;THD (ms)\n1;2\n2;3\n",
    ],
)  # fmt: skip
def test_columns_that_cannot_be_told_apart(text):
    with pytest.raises(CurveError, match=r"a\.txt"):
        distortion_of(table(text), [])


@pytest.mark.parametrize(
    ("rate", "digits"),
    [
        (8000, 5),
        (44100, 5),
        (48000, 5),
        *((r, d) for r in (8000, 44100, 48000, 96000, 192000) for d in (6, 9)),
    ],
)
def test_rates_from_printed_times(rate, digits):
    """Times with few digits jitter; the mean step still gives the rate."""
    time = np.round(np.arange(2000) / rate, digits)
    rows = "\n".join(f"{t:.{digits}f};{v}" for t, v in zip(time, np.arange(2000) % 5, strict=True))
    found = impulse_of(table(f"Time (s);Amplitude\n{rows}\n"), None)
    assert found.rate == pytest.approx(rate, rel=2e-3 if digits == 5 else 1e-4)
    if digits == 9:
        assert found.rate == rate


def test_a_stated_rate_serves_bare_samples():
    rows = "\n".join(str(i % 7 - 3) for i in range(50))
    assert impulse_of(table(f"Amplitude\n{rows}\n"), 32000.0).rate == 32000.0


def test_two_amplitude_columns_are_refused():
    with pytest.raises(CurveError, match="2 columns"):
        impulse_of(
            table("Time (s);Left (V);Right (V)\n" + "\n".join(f"{i};1;2" for i in range(30))), None
        )
