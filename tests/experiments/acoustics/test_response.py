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


@pytest.mark.parametrize("width", [0.03, 0.06, 0.09, 0.106])
def test_a_trough_under_a_ninth_of_an_octave_is_passed_over(width):
    found = effective_range(flat_with(width), 10.0)
    assert found.upper_hz == pytest.approx(10000 * 2 ** (10 / 60), rel=0.005)
    assert len(found.passed_over) == 1
    assert found.passed_over[0] == pytest.approx(3000, rel=0.02)


@pytest.mark.parametrize("width", [0.117, 0.13, 0.2, 0.5])
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
    wider = effective_range(Response(F, 80 + np.log2(F / 1000)), 10.0, (1000.0, 1000 * G**1.05))
    assert wider.octave == pytest.approx((1000 * G**0.05, 1000 * G**1.05))


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


def polygon(*corners, floor_hz=0.0):
    """Straight lines in dB over log frequency."""
    f, y = np.array(corners, dtype=float).T
    return Response(f, y, floor_hz=floor_hz)


def finer(curve, points):
    f = np.geomspace(curve.frequency[0], curve.frequency[-1], points)
    return Response(f, np.interp(np.log(f), np.log(curve.frequency), curve.level))


def test_limits_lie_where_the_straight_flanks_cross_the_line():
    curve = polygon((50, 50), (100, 80), (1000, 80), (4000, 40))
    found = effective_range(curve)
    assert (found.reference_db, found.line_db) == (pytest.approx(80), pytest.approx(70))
    assert found.lower_hz == pytest.approx(100 * 2 ** (-10 / 30))
    assert found.upper_hz == pytest.approx(1000 * 4 ** (10 / 40))
    assert not found.lower_at_edge
    assert not found.upper_at_edge
    assert effective_range(curve, 6.0).upper_hz == pytest.approx(1000 * 4 ** (6 / 40))


@pytest.mark.parametrize("points", [None, 3001, 5001])
def test_the_loudest_octave_of_a_gable(points):
    """It ends where the curve is as low as where it starts: else a shift would gain energy.

    30 dB a decade up and 20 dB down: the octave of 0.3 decades reaches 0.12 below the apex.
    """
    curve = polygon((100, 50), (1000, 80), (10000, 60))
    found = effective_range(curve if points is None else finer(curve, points))
    assert found.octave == pytest.approx((1000 * 10**-0.12, 1000 * 10**0.18), rel=0.008)
    # The mean of p² over both flanks, each from -3.6 dB up to the apex.
    expected = 80 + 10 * np.log10((1 - 10**-0.36) / (0.36 * np.log(10)))
    assert found.reference_db == pytest.approx(expected, abs=1e-3)


def test_a_search_band_between_two_points_starts_from_the_nearer_one():
    curve = polygon((30, 50), (300, 80), (3000, 79), (30000, 40))
    found = effective_range(curve, 10.0, (500.0, 900.0))
    reference = 80 - np.log10(np.sqrt(500 * 900) / 300)
    assert found.reference_db == pytest.approx(reference, abs=0.001)
    assert found.upper_hz == pytest.approx(3000 * 10 ** ((79 - reference + 10) / 39), rel=1e-3)
    assert found.lower_hz == pytest.approx(300 * 10 ** ((reference - 10 - 80) / 30), rel=1e-3)


def test_the_range_starts_from_the_loudest_point_of_the_octave_not_from_its_middle():
    """A wide notch in the middle parts the octave; the louder half counts."""
    sides = np.where(F < 1414, 84.0, 80.0)
    level = np.where(np.abs(np.log2(F / 1414)) < 0.15, 50.0, sides)
    found = effective_range(Response(F, level), 10.0, (1000.0, 2000.0))
    assert found.upper_hz == pytest.approx(1414 * 2**-0.15, rel=0.005)
    assert found.lower_hz is None
    mirrored = Response(F, level[::-1])  # F runs from 20 to 20000: 1414 becomes 283
    found = effective_range(mirrored, 10.0, (200.0, 400.0))
    assert found.lower_hz == pytest.approx(4e5 / 1414 * 2**0.15, rel=0.005)
    assert found.upper_hz is None


def test_the_search_band_is_cut_to_the_data_and_left_out_beyond_them():
    curve = polygon((100, 90), (400, 60), (2000, 80), (8000, 80), (16000, 60))
    whole = effective_range(curve)
    for beyond in ((20000.0, 40000.0), (20.0, 90.0)):
        assert effective_range(curve, 10.0, beyond) == whole
    assert whole.octave[0] == pytest.approx(100)
    assert effective_range(curve, 10.0, (20.0, 150.0)).octave == (100.0, 150.0)
    assert effective_range(curve, 10.0, (9000.0, 90000.0)).octave == (9000.0, 16000.0)
    gated = Response(curve.frequency, curve.level, floor_hz=900.0)
    assert 2000 <= effective_range(gated).octave[0] <= 8000 / G


def test_a_narrow_trough_below_the_octave_is_passed_over_too():
    found = effective_range(flat_with(0.09, at=300.0), 10.0, (1000.0, 4000.0))
    assert found.lower_hz == pytest.approx(100 / 2 ** (10 / 60), rel=0.005)
    assert found.passed_over == pytest.approx((300.0,), rel=0.02)
    wide = effective_range(flat_with(0.2, at=300.0), 10.0, (1000.0, 4000.0))
    assert wide.lower_hz == pytest.approx(300 * G**0.1, rel=0.005)
    assert wide.passed_over == ()


@pytest.mark.parametrize(("octave", "near"), [(0.09, True), (0.105, True), (0.12, False)])
def test_a_limit_within_a_ninth_of_an_octave_of_the_end(octave, near):
    high = effective_range(Response(F, np.where(F > 20000 / G**octave, 60.0, 80.0)), 10.0)
    assert (high.upper_at_edge, high.lower_at_edge) == (near, False)
    low = effective_range(Response(F, np.where(F < 20 * G**octave, 60.0, 80.0)), 10.0)
    assert (low.upper_at_edge, low.lower_at_edge) == (False, near)


FINE, MEDIUM, COARSE = (np.array([100 / step, 100, 1000, 1000 * step]) for step in (1.01, 1.12, 2))


@pytest.mark.parametrize(
    ("grid", "may_lack", "not_this"),
    [(FINE, G ** (1 / 24.3), 1.0297), (MEDIUM, 1.119, 1.122), (COARSE, 1.255, 1.265)],
)
def test_a_band_may_lack_a_step_of_the_grid_between_limits(grid, may_lack, not_this):
    """At least 1/24 of an octave, a factor of 1.0292; at most a third of one, 1.2589."""
    curve, low, high = Response(grid, np.zeros(4)), grid[0], grid[-1]
    assert cover(curve, (low / may_lack, high * may_lack)) == ((low, high), True)
    assert cover(curve, (low / not_this, high)) == (None, True)
    assert cover(curve, (low, high * not_this)) == (None, True)
    assert cover(curve, (low, high)) == ((low, high), False)


def test_a_gate_lends_no_step_of_the_grid():
    curve = Response(COARSE, np.zeros(4), floor_hz=80.0)
    assert cover(curve, (79.0, 500.0)) == ((80.0, 500.0), True)
    assert cover(curve, (77.0, 500.0)) == (None, True)
    assert cover(Response(COARSE, np.zeros(4), floor_hz=2000.0), None) == (None, True)


def test_deviation_of_a_gable_inside_the_band_only():
    """Levels spread evenly over w dB: standard deviation w / sqrt 12 (JCGM 100, 4.3.7)."""
    curve = polygon((50, 99), (100, 70), (200, 76), (800, 70), (1600, 20))
    found = deviation(curve, (100.0, 800.0))
    assert found.half_spread_db == pytest.approx(3.0)
    assert found.sd_db == pytest.approx(6 / np.sqrt(12))
    assert deviation(curve, (200.0, 400.0)).half_spread_db == pytest.approx(1.5)
    assert deviation(polygon((10, 70), (1000, 70)), (20.0, 500.0)).sd_db == 0.0


@pytest.mark.parametrize(("fraction", "per_octave"), [(3, 96), (12, 96), (48, 384)])
def test_a_smoothed_curve_is_fine_enough_for_its_window(fraction, per_octave):
    given = 1000 * G ** (np.arange(-6, 7) / 3) * (1 + 3e-16)  # on the grid, but for rounding
    curve = smoothed(Response(given, np.zeros(given.size), floor_hz=300.0), fraction)
    steps = np.diff(np.log(curve.frequency)) / np.log(G)
    np.testing.assert_allclose(steps, 1 / per_octave, rtol=1e-6)
    assert curve.frequency[[0, -1]] == pytest.approx(given[[0, -1]])
    assert curve.floor_hz == 300.0


def test_an_outline_has_four_points_a_window():
    curve = outline(Response(F, np.zeros(F.size), floor_hz=50.0))
    np.testing.assert_allclose(np.diff(np.log(curve.frequency)) / np.log(G), 1 / 96, rtol=1e-9)
    assert 20 <= curve.frequency[0] < 20.2
    assert 19800 < curve.frequency[-1] <= 20000
    assert curve.floor_hz == 50.0
    ends_apart = np.concatenate(([10.0], F[300:-300], [40000.0]))
    assert outline(Response(ends_apart, 0 * ends_apart)).frequency[[0, -1]] == pytest.approx(
        (10, 40000), rel=0.01
    )
    narrow = Response(np.linspace(1000, 1040, 50), np.zeros(50))
    assert outline(narrow) is narrow
