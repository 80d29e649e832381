"""The cone's physics against textbook plates, filters and modes."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.signal import freqs
from scipy.special import iv, jv

from demo_trials import physics
from demo_trials.physics import LEISSA, NOMINAL, Cone, Spread, build, pressure, second_order

RECIPE: dict[str, Any] = {
    "process": "resin",
    "profile": "curved",
    "wall_thickness": 0.8,
    "layer_height": 0.05,
    "coats": 1,
    "resin": "clear",
    "exposure": 2.5,
    "cure_time": 12,
}
FILAMENT: dict[str, Any] = {
    "process": "filament",
    "profile": "ribbed",
    "ribs": 8,
    "wall_thickness": 0.9,
    "layer_height": 0.15,
    "coats": 0,
    "nozzle_temperature": 215,
    "line_width": 0.4,
}


@pytest.fixture
def cone() -> Cone:
    return build(RECIPE)


def _clamped_plate(diameters: int, low: float, high: float) -> float:
    """Root of the clamped plate's characteristic equation (Kirchhoff; Leissa, NASA SP-160)."""
    n = diameters
    return float(brentq(lambda x: jv(n, x) * iv(n + 1, x) + iv(n, x) * jv(n + 1, x), low, high))


def test_plate_constants_solve_the_clamped_plates_equation() -> None:
    roots = [
        _clamped_plate(0, 3.0, 3.5),
        _clamped_plate(1, 4.4, 4.8),
        _clamped_plate(2, 5.7, 6.1),
        _clamped_plate(0, 6.1, 6.5),
    ]
    # Leissa's table prints four to six figures; its lowest is 10.2158.
    np.testing.assert_allclose(LEISSA, np.square(roots), rtol=2e-5)


@pytest.mark.parametrize("recipe", [RECIPE, FILAMENT])
def test_modes_stand_in_the_plates_ratios(recipe: dict[str, Any]) -> None:
    # Leissa, NASA SP-160, Table 2.1 (from memory): 10.2158, 21.2604, 34.8770, 39.7711.
    modes = build(recipe).modes
    np.testing.assert_allclose(
        modes / modes[0],
        np.array([1.0, 21.2604 / 10.2158, 34.8770 / 10.2158, 39.7711 / 10.2158]),
        rtol=1e-12,
    )


@pytest.mark.parametrize("factor", [0.5, 2.0, 4.0])
def test_frequency_goes_with_the_root_of_stiffness(cone: Cone, factor: float) -> None:
    # Plate theory: f ~ sqrt(E / rho).
    stiffer = build(RECIPE, Spread(modulus=factor))
    np.testing.assert_allclose(stiffer.modes, np.sqrt(factor) * cone.modes, rtol=1e-12)
    assert stiffer.mass == cone.mass


def test_a_flat_bare_plate_has_kirchhoffs_frequencies(monkeypatch: pytest.MonkeyPatch) -> None:
    # f = lambda^2 / (2 pi a^2) sqrt(E h^2 / (12 rho (1 - nu^2))): with the shell's factor taken
    # away, the modes must be those of the plate of the same wall.
    flat = physics._Profile(2.45e-3, 1.0, 0.0, (0.0, 0.0, 0.0, 0.0))
    monkeypatch.setitem(physics._PROFILES, "curved", flat)
    plate = build(RECIPE | {"coats": 0})
    young, density = plate.material.modulus, plate.material.density
    speed = np.sqrt(young / (12.0 * density * (1.0 - 0.35**2)))
    np.testing.assert_allclose(
        plate.modes, LEISSA / (2.0 * np.pi * 0.026**2) * 0.8e-3 * speed, rtol=1e-12
    )


def test_thick_walls_bend_and_thin_walls_stretch() -> None:
    # Shallow shell (Reissner 1946, from memory): the squares of the plate's and of the
    # membrane's frequency add, and only the first depends on the wall.
    walls = np.array([0.5, 0.8, 1.2])
    squares = np.array(
        [
            (build({**FILAMENT, "profile": "straight", "wall_thickness": w}).modes[0]) ** 2
            for w in walls
        ]
    )
    slope, offset = np.polyfit(walls**2, squares, 1)
    assert slope > 0.0
    assert offset > 0.0
    np.testing.assert_allclose(squares, offset + slope * walls**2, rtol=1e-9)


def test_mass_is_wall_times_area_times_density() -> None:
    bare = build(RECIPE | {"coats": 0})
    thick = build(RECIPE | {"coats": 0, "wall_thickness": 1.2})
    assert bare.mass == pytest.approx(2.6e-3 * 1160.0 * 0.8e-3)
    assert thick.mass / bare.mass == pytest.approx(1.5)
    assert build(RECIPE | {"coats": 2}).mass - bare.mass == pytest.approx(2 * 0.06 * 2.6e-3)


@pytest.mark.parametrize("q", [0.5, 0.707, 1.0, 4.0])
@pytest.mark.parametrize("high", [False, True])
def test_second_order_has_gain_q_at_its_frequency(q: float, high: bool) -> None:
    # Textbook: |H(f0)| = Q for the second-order low-pass and high-pass.
    assert abs(second_order(120.0, 120.0, q, high=high)) == pytest.approx(q, rel=1e-12)


def test_second_order_is_scipys_analogue_filter() -> None:
    hertz = np.geomspace(20.0, 2000.0, 50)
    for high, top in ((True, [1.0, 0.0, 0.0]), (False, [1.0])):
        _, expected = freqs(top, [1.0, 1.0 / 0.8, 1.0], worN=hertz / 130.0)
        np.testing.assert_allclose(second_order(hertz, 130.0, 0.8, high=high), expected)


def test_second_order_low_pass_peaks_where_the_textbook_says() -> None:
    # Peak Q / sqrt(1 - 1 / 4 Q^2) at f0 sqrt(1 - 1 / 2 Q^2), for Q > 1 / sqrt 2.
    q, hertz = 2.0, np.linspace(90.0, 100.0, 20001)
    gain = np.abs(second_order(hertz, 100.0, q))
    assert gain.max() == pytest.approx(q / np.sqrt(1.0 - 0.25 / q**2), rel=1e-8)
    assert hertz[gain.argmax()] == pytest.approx(100.0 * np.sqrt(1.0 - 0.5 / q**2), rel=1e-5)


def test_high_pass_falls_by_the_butterworth_table() -> None:
    # Butterworth of order 2 (Q = 1 / sqrt 2): 10 dB down at f0 / 1.732051, 20 dB at f0 / 3.154342.
    for ratio, drop in ((1.732051, 10.0), (3.154342, 20.0)):
        gain = abs(second_order(100.0 / ratio, 100.0, np.sqrt(0.5), high=True))
        assert 20.0 * np.log10(gain) == pytest.approx(-drop, abs=1e-5)


def test_doubled_moving_mass_costs_six_decibels(cone: Cone) -> None:
    # Mass-controlled piston: p ~ 1 / m, 6.0206 dB a doubling.
    heavy = replace(cone, moving=2.0 * cone.moving)
    ratio = np.abs(pressure(cone, 700.0) / pressure(heavy, 700.0))
    assert 20.0 * np.log10(ratio) == pytest.approx(6.0206, abs=1e-3)


def test_modal_sum_is_a_rigid_piston_far_below_break_up(cone: Cone) -> None:
    assert physics.modal_sum(cone, 50.0) == pytest.approx(1.0, abs=1e-3)


def test_one_mode_stands_out_by_its_share_times_q(cone: Cone) -> None:
    # At resonance s^2 / (s^2 + s w / Q + w^2) = j Q exactly.
    single = replace(cone, shares=np.array([0.1, 0.0, 0.0, 0.0]))
    found = physics.modal_sum(single, single.modes[0])
    assert found == pytest.approx(1.0 + 0.1j * single.mode_q, rel=1e-12)


def test_distortion_peaks_at_break_up_over_the_order() -> None:
    # The k-th harmonic of f meets the first mode at f = f1 / k.
    sharp = build(RECIPE | {"coats": 0, "cure_time": 30})
    hertz = np.geomspace(300.0, 0.7 * sharp.modes[0], 4000)
    percent = physics.harmonics(sharp, hertz)
    for row, order in ((0, 2), (1, 3)):
        near = np.abs(np.log2(hertz * order / sharp.modes[0])) < 0.3
        peak = hertz[near][percent[row][near].argmax()]
        assert peak * order == pytest.approx(sharp.modes[0], rel=0.03)
        assert percent[row][near].max() > 2.0 * percent[row][hertz < 400.0].max()


def test_distortion_of_the_suspension_peaks_low(cone: Cone) -> None:
    percent = physics.harmonics(cone, np.array([cone.resonance, 4.0 * cone.resonance]))
    assert np.all(percent[:2, 0] > 1.25 * percent[:2, 1])


def test_harmonics_beyond_the_bandwidth_are_unknown(cone: Cone) -> None:
    percent = physics.harmonics(cone, np.array([3999.0, 4001.0, 10001.0]))
    assert np.isnan(percent).tolist() == [
        [False, False, True],
        [False, False, True],
        [False, False, True],
        [False, True, True],
    ]


def test_impulse_holds_the_response(cone: Cone) -> None:
    spectrum = np.fft.rfft(physics.impulse(cone))
    hertz = np.fft.rfftfreq(4800, 1.0 / 48000.0)
    below = hertz <= 20000.0
    np.testing.assert_allclose(spectrum[below], pressure(cone, hertz[below]), atol=1e-12)


def test_impulse_is_causal(cone: Cone) -> None:
    # What stands before time 0 wraps to the end; only the band limit's own ringing may.
    samples = physics.impulse(cone)
    assert np.max(np.abs(samples[2400:])) < 0.01 * np.max(np.abs(samples))


def test_mode_rings_for_the_textbooks_time() -> None:
    # Amplitude of a mode falls as exp(-pi f t / Q).
    mode = replace(
        build(RECIPE), mode_q=60.0, shares=np.array([0.5, 0.0, 0.0, 0.0]), resonance_q=0.5
    )
    samples = physics.impulse(mode, samples=9600)
    late = np.arange(1000, 1800)
    rate = np.polyfit(late / 48000.0, np.log(_peaks(samples, late)), 1)[0]
    assert -rate == pytest.approx(np.pi * mode.modes[0] / 60.0, rel=0.03)


def _peaks(samples: np.ndarray, places: np.ndarray) -> np.ndarray:
    """Root mean square over about six periods around each place."""
    squares = np.convolve(samples**2, np.ones(97) / 97.0, mode="same")
    return np.asarray(np.sqrt(squares[places]))


def test_warmth_lowers_and_damps_the_modes(cone: Cone) -> None:
    warm = build(RECIPE, warmer=10.0)
    assert warm.modes[0] < cone.modes[0]
    assert warm.mode_q < cone.mode_q
    assert build(RECIPE, NOMINAL, warmer=0.0).modes[0] == cone.modes[0]


def test_coarse_layers_excite_more_break_up() -> None:
    assert np.all(
        np.abs(build(RECIPE | {"layer_height": 0.1}).shares) > np.abs(build(RECIPE).shares)
    )


def test_chance_of_printing_follows_the_weak_points() -> None:
    sure = physics.print_chance(RECIPE)
    assert sure > 0.99
    thin = RECIPE | {"wall_thickness": 0.5, "layer_height": 0.1, "exposure": 1.4}
    assert physics.print_chance(thin) < 0.05
    assert physics.weakness(thin) == "layers did not cure through"
    low = RECIPE | {"exposure": 1.3, "wall_thickness": 0.5}
    assert physics.weakness(low) == "wall tore on peeling"
    cold = FILAMENT | {"nozzle_temperature": 195, "layer_height": 0.2}
    assert physics.print_chance(cold) < 0.5 < physics.print_chance(FILAMENT)
    assert physics.weakness(cold) == "layers came apart"
    tall = FILAMENT | {"wall_thickness": 0.6, "layer_height": 0.2, "line_width": 0.3}
    assert physics.print_chance(tall) < physics.print_chance(FILAMENT)


def test_prints_as_often_as_the_chance_says() -> None:
    recipe = FILAMENT | {"nozzle_temperature": 195, "layer_height": 0.2}
    chance, rng = physics.print_chance(recipe), np.random.default_rng(3)
    printed = sum(physics.prints(recipe, rng) for _ in range(4000))
    assert 0.1 < chance < 0.9
    # Five standard deviations of a binomial count.
    assert abs(printed - 4000 * chance) < 5.0 * np.sqrt(4000 * chance * (1.0 - chance))
