from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import peak_prominences

from experiments.acoustics.breakup import search_curve
from experiments.acoustics.curves import Response
from experiments.acoustics.resonance import (
    Peak,
    _gradient,
    _model,
    fit_pole_pair,
    fundamental_peak,
    peaks,
)

F = np.geomspace(20, 20000, 1200)


def decibels(h):
    return 20 * np.log10(np.abs(h))


def strongest(curve):
    return max(peaks(curve, 1.0), key=lambda item: item.prominence)


def test_end_points_are_no_peaks():
    assert peaks(Response(F, np.linspace(0, 30, F.size)), 1.0) == []
    assert peaks(Response(F, np.full(F.size, 3.0)), 1.0) == []


def test_prominences_of_the_example_in_scipys_documentation():
    """scipy.signal.peak_prominences, second example: a sine whose peaks rise."""
    x = np.linspace(0, 5 * np.pi, 1000)
    y = np.sin(x) + 0.6 * np.sin(2.6 * x)
    found = peaks(Response(np.arange(1.0, 1001.0), y), 0.01)
    places = np.array([round(item.frequency) - 1 for item in found])
    expected = peak_prominences(y, places)[0]
    np.testing.assert_allclose([item.prominence for item in found], expected, rtol=1e-12)
    assert len(found) >= 4


def test_the_least_prominence_is_kept():
    y = 2.9 * np.exp(-((np.log(F / 500) / 0.1) ** 2)) + 3.1 * np.exp(
        -((np.log(F / 5000) / 0.1) ** 2)
    )
    found = peaks(Response(F, y), 3.0)
    assert len(found) == 1
    assert found[0].frequency == pytest.approx(5000, rel=0.01)


@pytest.mark.parametrize("q", [1.6, 2.5, 5.0])
def test_the_peak_of_a_high_pass_is_the_fundamental(known, q):
    curve = Response(F, decibels(known.second_order(F, 150.0, q, 2)))
    assert fundamental_peak(curve, strongest(curve))


@pytest.mark.parametrize("power", [0, 1])
def test_other_peaks_are_not(known, power):
    curve = Response(F, decibels(known.second_order(F, 1500.0, 6.0, power)))
    assert not fundamental_peak(curve, strongest(curve))


def test_break_up_over_a_high_pass_is_not_the_fundamental(known):
    curve = Response(F, known.cone(F))
    assert not fundamental_peak(curve, strongest(curve))


def test_the_gradient_is_right():
    u = np.geomspace(0.5, 2, 30)
    p = np.array([0.03, 1.4, 0.7, 0.2, 0.4])
    for i in range(5):
        step = np.zeros(5)
        step[i] = 1e-6
        numeric = (_model(p + step, u) - _model(p - step, u)) / 2e-6
        np.testing.assert_allclose(_gradient(p, u)[:, i], numeric, rtol=1e-5, atol=1e-6)


@pytest.mark.parametrize("q", [3.0, 6.0, 12.0, 25.0])
@pytest.mark.parametrize("share", [0.3, 1.0])
def test_a_mode_on_top_of_a_flat_response(known, q, share):
    """1 + r times a band-pass: the peak is off the natural frequency, the poles are not."""
    h = 1 + share * q * 0.5 * known.second_order(F, 4000.0, q, 1) / q * 2
    curve = Response(F, decibels(h))
    found = peaks(curve, 0.5)
    if not found:
        pytest.skip("no peak left over the flat response")
    fit = fit_pole_pair(curve, found[0])
    assert fit is not None
    assert fit.frequency == pytest.approx(4000.0, rel=0.005)
    assert fit.q == pytest.approx(q, rel=0.02)


@pytest.mark.parametrize("slope", [-12.0, -6.0, 6.0])
def test_q_on_a_slope(known, slope):
    """The 3 dB width is misled by a slope; the poles are not."""
    curve = Response(
        F, decibels(known.second_order(F, 3000.0, 7.0, 0)) + slope * np.log2(F / 3000)
    )
    fit = fit_pole_pair(curve, strongest(curve))
    assert fit.q == pytest.approx(7.0, rel=0.03)


def test_noise_shows_in_the_uncertainty(known):
    rng = np.random.default_rng(4)
    clean = decibels(known.second_order(F, 3000.0, 5.0, 0))
    calm = fit_pole_pair(Response(F, clean), strongest(Response(F, clean)))
    loud = Response(F, clean + rng.normal(0, 0.5, F.size))
    rough = fit_pole_pair(loud, strongest(loud))
    assert rough.sd_log_q > 3 * calm.sd_log_q
    assert abs(np.log(rough.q / 5.0)) < 4 * rough.sd_log_q
    assert calm.carried


def test_too_few_points_give_none():
    f = np.array([100.0, 200, 400, 800, 1600, 3200])
    y = np.array([0.0, 0, 5, 10, 5, 0])
    assert fit_pole_pair(Response(f, y), Peak(800.0, 10.0, 10.0)) is None


def test_a_plateau_of_noise_is_not_carried():
    rng = np.random.default_rng(9)
    curve = Response(F, rng.normal(0, 4, F.size))
    fits = [fit_pole_pair(curve, item) for item in peaks(curve, 8.0)[:5]]
    assert not any(fit is not None and fit.carried for fit in fits)


@pytest.mark.parametrize("seed", range(1, 10))
def test_a_fit_that_runs_away_has_no_q(known, seed):
    """Noise of 4 dB: some fits seek a Q that no float can hold."""
    f = np.geomspace(20, 20000, 500)
    curve = Response(f, known.cone(f) + 4 * np.random.default_rng(seed).standard_normal(f.size))
    outline = search_curve(curve)
    fits = [fit_pole_pair(curve, peak, outline) for peak in peaks(outline)]
    assert fits
    assert all(fit is None or 0.5 < fit.q < 2000 for fit in fits)


def test_linear_magnitudes_taken_as_decibels_have_no_sharp_q(known):
    f = np.geomspace(20, 20000, 961)
    curve = Response(f, 86 * 10 ** ((known.cone(f) - 90) / 20))
    fits = [fit_pole_pair(curve, peak) for peak in peaks(curve)]
    assert fits
    assert all(fit is None or 0.5 < fit.q < 2000 for fit in fits)
