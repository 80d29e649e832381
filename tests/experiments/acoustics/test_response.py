from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics.bands import G
from experiments.acoustics.curves import Response
from experiments.acoustics.response import (
    cover,
    deviation,
    effective_range,
    level,
    outline,
    smoothed,
)

F = np.geomspace(20, 20000, 3001)


def flat_with(trough_width, depth=20.0, at=3000.0, tilt=0.0):
    """80 dB from 100 Hz to 10 kHz, steep outside, with a square trough of some octaves width."""
    y = np.full(F.size, 80.0) + tilt * np.log2(F / 1000)
    y = np.where(F < 100, 80 - 60 * np.log2(100 / F), y)
    y = np.where(F > 10000, 80 - 60 * np.log2(F / 10000), y)
    half = G ** (trough_width / 2)
    return Response(F, np.where((F > at / half) & (F < at * half), y - depth, y))


@pytest.mark.parametrize("width", [0.03, 0.06, 0.09])
def test_a_trough_under_a_ninth_of_an_octave_is_passed_over(width):
    found = effective_range(flat_with(width), 10.0)
    assert found.upper_hz == pytest.approx(10000 * 2 ** (10 / 60), rel=0.005)
    assert len(found.passed_over) == 1
    assert found.passed_over[0] == pytest.approx(3000, rel=0.02)


@pytest.mark.parametrize("width", [0.13, 0.2, 0.5])
def test_a_wider_trough_ends_the_range(width):
    found = effective_range(flat_with(width), 10.0)
    assert found.upper_hz == pytest.approx(3000 / G ** (width / 2), rel=0.005)
    assert found.lower_hz == pytest.approx(100 / 2 ** (10 / 60), rel=0.005)


def test_a_trough_that_stays_over_the_line_does_not_count():
    found = effective_range(flat_with(0.5, depth=9.0), 10.0)
    assert found.upper_hz == pytest.approx(10000 * 2 ** (10 / 60), rel=0.005)


def test_the_range_is_contiguous_around_the_loudest_octave():
    """A loud island beyond a wide gap belongs to the range only if the reference lies on it."""
    y = np.where(F < 1000, 80.0, np.where(F < 4000, 50.0, 90.0))
    found = effective_range(Response(F, y), 10.0)
    assert found.lower_hz == pytest.approx(4000, rel=0.005)
    assert found.upper_hz is None
    below = effective_range(Response(F, y), 10.0, (50.0, 800.0))
    assert below.upper_hz == pytest.approx(1000, rel=0.005)


def test_limits_never_reached_are_none_and_not_the_ends():
    found = effective_range(Response(F, np.full(F.size, 80.0)), 10.0)
    assert found.lower_hz is None
    assert found.upper_hz is None


def test_data_that_end_in_a_trough_say_so():
    y = np.where(F > 19500, 60.0, 80.0)
    found = effective_range(Response(F, y), 10.0)
    assert found.upper_hz == pytest.approx(19500, rel=0.003)
    assert found.upper_at_edge
    assert not found.lower_at_edge


def test_reference_is_the_loudest_octave():
    bump = 6 * np.exp(-((np.log2(F / 2000) / 0.4) ** 2))
    found = effective_range(Response(F, 80 + bump), 10.0)
    centre = np.sqrt(found.octave[0] * found.octave[1])
    assert centre == pytest.approx(2000, rel=0.02)
    assert found.octave[1] / found.octave[0] == pytest.approx(G, rel=1e-9)
    assert 83.0 < found.reference_db < 86.0


def test_a_narrow_search_band_is_taken_whole():
    found = effective_range(Response(F, 80 + np.log2(F / 1000)), 10.0, (1000.0, 1300.0))
    assert found.octave == (1000.0, 1300.0)
    assert found.reference_db == pytest.approx(80 + np.log2(1.3) / 2, abs=0.01)


def test_coarse_grids_are_right_to_half_a_step():
    for step in (1 / 3, 1 / 6, 1 / 12):
        f = 1000 * G ** np.arange(-5, 4, step)
        y = -10 * np.log10(1 + (f / 3000) ** 4)
        found = effective_range(Response(f, y), 10.0)
        assert abs(np.log(found.upper_hz / (3000 * 1.732051))) < np.log(G) * step / 2


@pytest.mark.parametrize(
    ("band", "cut", "carried"),
    [((100.0, 5000.0), False, True), ((19.9, 20050.0), True, True), ((10.0, 5000.0), True, False),
     ((100.0, 30000.0), True, False), (None, False, True)],
)  # fmt: skip
def test_cover(band, cut, carried):
    part, was_cut = cover(Response(F, np.zeros(F.size)), band)
    assert (part is not None) == carried
    assert was_cut == cut
    if part is not None:
        assert part[0] >= F[0]
        assert part[1] <= F[-1]


def test_cover_respects_the_gate():
    assert cover(Response(F, np.zeros(F.size), floor_hz=200.0), (100.0, 1000.0))[0] is None
    assert cover(Response(F, np.zeros(F.size), floor_hz=200.0), None)[0] == (200.0, F[-1])


def test_deviation_interpolates_the_band_edges():
    curve = Response(np.array([100.0, 1600.0]), np.array([70.0, 86.0]))
    found = deviation(curve, (200.0, 800.0))
    assert found.half_spread_db == pytest.approx(4.0)


def test_smoothing_lowers_the_deviation_of_a_ripple():
    y = 80 + 2 * np.sin(2 * np.pi * 12 * np.log2(F / 1000))
    raw = deviation(Response(F, y), (200.0, 5000.0)).half_spread_db
    calm = deviation(smoothed(Response(F, y), 3), (200.0, 5000.0)).half_spread_db
    assert raw == pytest.approx(2.0, abs=0.01)
    assert calm < 0.3


def test_smoothing_keeps_the_level_of_a_flat_curve():
    curve = smoothed(Response(F, np.full(F.size, 77.0)), 6)
    assert level(curve, (100.0, 8000.0)) == pytest.approx(77.0, abs=1e-9)
    assert smoothed(curve, None) is curve


def test_outline_of_noise_has_few_points_and_the_right_level():
    rng = np.random.default_rng(0)
    f = np.linspace(20, 20000, 50000)
    curve = outline(Response(f, 80 + rng.normal(0, 1, f.size)))
    assert curve.frequency.size < 1000
    assert level(curve, (500.0, 10000.0)) == pytest.approx(80.1, abs=0.1)
