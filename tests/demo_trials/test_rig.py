"""The platform's chance: what is drawn, how large it is, what it leaves of the truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from demo_trials import rig
from demo_trials.history import CONES
from demo_trials.physics import build, harmonics, pressure


def test_stream_is_pcg64_and_pinned() -> None:
    # The uniform stream must never change, or the committed files could not be made again.
    # PCG64 (O'Neill 2014) gives 53 random bits; numpy's SeedSequence spreads the keys.
    bits = np.random.PCG64(np.random.SeedSequence((60, 1, 1))).random_raw(3)
    expected = (bits >> np.uint64(11)) * 2.0**-53
    assert rig.stream(60, 1, 1).random(3).tolist() == expected.tolist()
    assert rig.stream(60, 1, 1).random() != rig.stream(60, 1, 2).random()


def test_normal_numbers_are_normal() -> None:
    draws = rig.normal(rig.stream(1), 20000)
    assert rig.normal(rig.stream(1), 3).tolist() == pytest.approx(
        norm.ppf(rig.stream(1).random(3)).tolist()
    )
    assert draws.mean() == pytest.approx(0.0, abs=5.0 / np.sqrt(20000))
    assert draws.std() == pytest.approx(1.0, abs=0.03)


def test_prints_spread_as_documented() -> None:
    rng = rig.stream(2)
    spreads = [rig.print_spread(rng) for _ in range(3000)]
    for name, size in (("modulus", 0.03), ("thickness", 0.015), ("loss", 0.04)):
        logs = np.log([getattr(spread, name) for spread in spreads])
        assert logs.std() == pytest.approx(size, rel=0.08)
        assert logs.mean() == pytest.approx(0.0, abs=0.1 * size)


def test_sessions_differ_as_documented() -> None:
    rigs = [rig.session_rig(rig.stream(3, i)) for i in range(2000)]
    assert np.std([r.level for r in rigs]) == pytest.approx(0.4, rel=0.1)
    assert np.std([r.tilt for r in rigs]) == pytest.approx(0.35, rel=0.1)
    assert 1.5 <= min(r.warmer for r in rigs) < max(r.warmer for r in rigs) <= 5.0


def test_perfect_platform_shows_the_cone_itself() -> None:
    cone = build(CONES[0].settings)
    traces = rig.clean(cone)
    expected = 20.0 * np.log10(np.abs(pressure(cone, rig.RESPONSE_GRID)) / 20e-6)
    np.testing.assert_allclose(traces.level, expected)
    np.testing.assert_array_equal(traces.percent, harmonics(cone, rig.DISTORTION_GRID))
    assert np.argmax(np.abs(traces.samples)) in range(240, 250)


def test_measurement_departs_by_level_tilt_and_little_else() -> None:
    cone = build(CONES[0].settings)
    heard = rig.observe(cone, rig.Rig(level=2.0, tilt=1.5, latency=250), rig.stream(4))
    middle = (rig.RESPONSE_GRID > 200.0) & (rig.RESPONSE_GRID < 8000.0)
    decades = np.log10(rig.RESPONSE_GRID[middle] / 1000.0)
    difference = heard.level[middle] - rig.clean(cone).level[middle]
    slope, offset = np.polyfit(decades, difference, 1)
    # Mounting: 0.1 dB in level, a ripple of 0.12 dB a wave.
    assert slope == pytest.approx(1.5, abs=0.6)
    assert offset == pytest.approx(2.0, abs=0.6)
    assert np.std(difference - offset - slope * decades) < 0.4


def test_noise_lies_well_under_what_is_read() -> None:
    cone = build(CONES[0].settings)
    heard = rig.observe(cone, rig.Rig(latency=250), rig.stream(5))
    peak = np.max(np.abs(heard.samples))
    floor = np.std(heard.samples[-1000:])
    assert 20.0 * np.log10(floor / peak) == pytest.approx(-72.0, abs=1.5)


def test_harmonics_sit_on_a_floor_and_move_by_the_seating(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    cone = build(CONES[0].settings)
    clean = harmonics(cone, rig.DISTORTION_GRID)
    strong = rig.DISTORTION_GRID < 110.0  # HD2 of 2 %: the floor adds nothing there
    ratios = [
        np.mean(
            rig.observe(cone, rig.Rig(), rig.stream(7, k)).percent[0, strong] / clean[0, strong]
        )
        for k in range(300)
    ]
    assert np.std(np.log(ratios)) == pytest.approx(0.03, rel=0.15)
    monkeypatch.setattr(rig, "harmonics", lambda cone, hertz: np.zeros((4, len(hertz))))
    floor = rig.observe(cone, rig.Rig(), rig.stream(8)).percent
    # Hypotenuse of two normals of 0.015 %: root mean square 0.0212 %.
    assert np.sqrt(np.mean(floor**2)) == pytest.approx(0.015 * np.sqrt(2.0), rel=0.15)


def test_mounting_twice_differs_and_repeats_by_its_keys() -> None:
    cone = build(CONES[0].settings)
    first, again, other = (rig.observe(cone, rig.Rig(), rig.stream(6, k)) for k in (0, 0, 1))
    np.testing.assert_array_equal(first.level, again.level)
    assert np.max(np.abs(first.level - other.level)) > 0.02
