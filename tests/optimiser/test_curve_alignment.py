"""Shifts that are known are found again."""

from __future__ import annotations

import numpy as np
import pytest

from optimiser.curve_alignment import Warp, align, best_warp, registered, warps_of
from optimiser.curve_bundle import Bundle, Channel

PLACE = np.arange(-3 * 24, 4 * 24) / 24
SHIFTS = np.array([-0.35, -0.2, -0.1, 0.0, 0.05, 0.15, 0.2, 0.25])


def peaks(shifts, heights):
    """Two peaks that move together over a bass that stays."""
    x = PLACE[None, :] - shifts[:, None]
    bass = -12 * np.clip(-1.5 - PLACE, 0, None)
    bumps = np.exp(-0.5 * ((x - 1.5) / 0.12) ** 2) + 0.6 * np.exp(-0.5 * ((x - 2.5) / 0.1) ** 2)
    return bass + heights[:, None] * bumps


def bundle(values, family="response", place=PLACE, name="response"):
    return Bundle(family, [Channel(name, place)], values, np.arange(len(values)))


@pytest.mark.parametrize("heights", [np.full(8, 8.0), np.linspace(4, 12, 8)])
def test_shifts_of_peaks_are_found_whatever_their_height(heights):
    curves = bundle(peaks(SHIFTS, heights))
    found = align(curves, np.ones(8), Warp(-1.0))
    assert found == pytest.approx(SHIFTS - SHIFTS.mean(), abs=0.02)


def test_registered_curves_are_alike():
    curves = bundle(peaks(SHIFTS, np.full(8, 8.0)))
    channels, values = registered(curves, Warp(-1.0), SHIFTS)
    assert channels[0].place[-1] == pytest.approx(PLACE[-1] + 0.35, abs=0.05)
    common = np.isfinite(values).all(axis=0)
    assert np.ptp(values[:, common], axis=0).max() < 0.3  # 7 where they are not moved
    assert np.ptp(curves.values, axis=0).max() > 7


def test_a_decay_runs_faster_by_its_shift():
    time = np.linspace(0, 10, 160)
    rates = 10 ** (0.3 * SHIFTS)
    values = -3 * rates[:, None] * time + 2 * np.cos(12 * rates[:, None] * time)
    found = align(bundle(values, "decay", time, "decay"), np.ones(8), Warp(None))
    assert found == pytest.approx(SHIFTS - SHIFTS.mean(), abs=0.03)


def test_a_repeated_cone_does_not_pull_the_others():
    heights = np.full(8, 8.0)
    once = align(bundle(peaks(SHIFTS, heights)), np.ones(8), Warp(-1.0))
    rows = np.r_[[0] * 5, 0:8]
    weights = np.where(rows == 0, 1 / 6, 1.0)
    again = align(bundle(peaks(SHIFTS[rows], heights[rows])), weights, Warp(-1.0))
    assert again[5:] == pytest.approx(once, abs=0.02)


def test_warps_begin_inside_the_grid_and_leave_the_bass_alone():
    tried = warps_of(bundle(peaks(SHIFTS, np.full(8, 8.0))))
    assert [warp.onset for warp in tried] == [-2.0, 0.0]
    # From 0 on only the peaks move, from -2 on the bend of the bass at -1.5 would, too.
    assert best_warp(bundle(peaks(SHIFTS, np.full(8, 8.0))), np.ones(8)).onset == 0.0
    moved = Warp(0.0)(PLACE, 0.3)
    assert moved[PLACE <= 0] == pytest.approx(PLACE[PLACE <= 0])
    assert moved[PLACE >= 1] == pytest.approx(PLACE[PLACE >= 1] + 0.3)
