from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import peak_prominences

from experiments.acoustics.bands import G
from experiments.acoustics.breakup import search_curve
from experiments.acoustics.curves import Response
from experiments.acoustics.resonance import (
    Peak,
    PolePair,
    _gradient,
    _independent,
    _model,
    _numerator,
    _thinned,
    _window,
    fit_pole_pair,
    fundamental_peak,
    octaves_of_bandwidth,
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


@pytest.mark.parametrize(
    "seed", [1, 5, 9, *(pytest.param(n, marks=pytest.mark.slow) for n in (2, 3, 4, 6, 7, 8))]
)
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


def test_the_model_is_the_ratio_of_two_polynomials():
    """Evaluated in complex numbers at s = ju."""
    u = np.geomspace(0.3, 3, 40)
    w, q, a, b, c = 1.07, 4.0, 0.8, 0.3, 0.45
    h = np.polyval([c, b, a], 1j * u) / np.polyval([1, w / q, w**2], 1j * u)
    np.testing.assert_allclose(_model(np.array([np.log(w), np.log(q), a, b, c]), u), decibels(h))


@pytest.mark.parametrize("wild", [1e4, -1e4])
def test_a_wild_step_stays_a_number(wild):
    u = np.geomspace(0.3, 3, 40)
    for place in (0, 1):
        p = np.array([0.0, 1.0, 1.0, 1.0, 1.0])
        p[place] = wild
        assert np.isfinite(_model(p, u)).all()
        assert np.isfinite(_gradient(p, u)).all()


@pytest.mark.parametrize("q", [1.5, 12.0])
def test_start_values_of_an_exact_curve_are_its_numerator(q):
    u = np.geomspace(0.5, 2, 60)
    for numerator in ((0.9, 0.4, 0.3), (0.2, 0.7, 1.1)):
        y = _model(np.array([0.0, np.log(q), *numerator]), u)
        assert _numerator(u, y, q) == pytest.approx(numerator, rel=1e-6)
    y = _model(np.array([0.0, np.log(q), 0.0, 1.0, 0.0]), u)  # a band-pass: a = c = 0
    a, b, c = _numerator(u, y, q)
    assert max(a, c) < 0.01
    assert b == pytest.approx(1.0, abs=0.01)


def test_how_many_residuals_count():
    """n (1 - r)/(1 + r) for neighbours that correlate by r (a series of first order; any textbook
    of time series), less six parameters."""
    assert _independent(np.resize([1.0, -1.0], 100)) == 94.0
    assert _independent(np.zeros(100)) == 94.0
    three = np.resize([1.0, 1, 1, -1, -1, -1], 600)  # two of three neighbours agree
    r = 201 / 600
    assert _independent(three) == pytest.approx(600 * (1 - r) / (1 + r) - 6)
    assert _independent(np.ones(100)) == 1.0
    assert _independent(np.ones(3000)) == pytest.approx(3000 * 0.01 / 1.99 - 6)


def test_a_thinned_curve_keeps_its_means():
    """200 cells, narrowest at the peak; each holds the mean of the straight lines in it."""
    x = np.linspace(-0.69, 0.6, 1731)
    y = 10 * np.sin(9 * x) + np.resize([0.0, 0.5, -0.2], x.size)
    at, mean = _thinned(x, y)
    edges = [x[0]]
    for middle in at:
        edges.append(2 * middle - edges[-1])
    assert at.size == 200
    assert edges[-1] == pytest.approx(x[-1])
    assert abs(at[np.argmin(np.diff(edges))]) < 0.01
    assert np.diff(edges).max() > 10 * np.diff(edges).min()
    dense = np.unique(np.concatenate((np.linspace(x[0], x[-1], 100001), x, edges)))
    line = np.interp(dense, x, y)
    area = np.concatenate(([0.0], np.cumsum(np.diff(dense) * (line[1:] + line[:-1]) / 2)))
    whole = np.interp(edges, dense, area)
    np.testing.assert_allclose(mean, np.diff(whole) / np.diff(edges), atol=1e-6)
    few = _thinned(x[:200], y[:200])
    assert few[0].size == 200
    np.testing.assert_array_equal(few[1], y[:200])
    assert _thinned(x[:201], y[:201])[0].size == 200


@pytest.mark.parametrize("octaves_down", [0.6, 1.0, 2.0, 3.0])
@pytest.mark.parametrize(("power", "told"), [(1.55, True), (1.45, False)])
def test_the_fundamental_falls_like_more_than_a_band_pass(octaves_down, power, told):
    """u^p/(1 - u²): p is 1 for a band-pass, 2 for a high-pass; the limit lies between."""
    u = G ** np.linspace(-octaves_down, -0.01, 4001)
    curve = Response(1000 * u, 20 * np.log10(u**power / (1 - u**2)))
    assert fundamental_peak(curve, Peak(1000.0, 60.0, 30.0)) == told


def test_what_rises_again_below_is_no_fundamental():
    u = G ** np.linspace(-3, -0.01, 4001)
    level = 20 * np.log10(u**2 / (1 - u**2))
    peak = Peak(1000.0, 60.0, 30.0)
    assert fundamental_peak(Response(1000 * u, level), peak)
    assert not fundamental_peak(Response(1000 * u, np.where(u < G**-2.5, level + 30, level)), peak)
    near = u > G**-0.49
    assert not fundamental_peak(Response(1000 * u[near], level[near]), peak)


@pytest.mark.parametrize("q", [20.0, 50.0, 200.0])
def test_bandwidth_in_octaves(q):
    """N = 2/ln 2 asinh(1/(2Q)) (any textbook of filters); nearly 1/(Q ln 2)."""
    expected = 2 / np.log(2) * np.arcsinh(1 / (2 * q))
    assert octaves_of_bandwidth(q) == pytest.approx(expected, rel=2e-4)


def test_what_a_pole_pair_carries():
    """0.7 dB of misfit and a fifth of the Q are the limits."""
    assert PolePair(1e3, 5.0, 0.2, 0.7).carried
    assert PolePair(1e3, 5.0, 0.21, 0.7).described
    assert not PolePair(1e3, 5.0, 0.21, 0.7).carried
    assert not PolePair(1e3, 5.0, 0.1, 0.71).described
    assert not PolePair(1e3, 5.0, 0.1, 0.71).carried


def gables(*corners):
    f, y = np.array(corners, dtype=float).T
    grid = np.unique(np.concatenate((np.geomspace(f[0], f[-1], 900), f)))
    return Response(grid, np.interp(np.log(grid), np.log(f), y))


@pytest.mark.parametrize(
    ("rise", "prominence", "counts"), [(1.05, 20, True), (0.95, 20, False), (0.6, 1.5, True)]
)
def test_a_peak_is_fitted_up_to_the_valleys_beside_it(rise, prominence, counts):
    """An octave to each side, or to the valley before a peak over 1 dB (or a third of its own)."""
    peak = Peak(1000.0, 80.0, prominence)
    alone = gables((100, 60), (1000, 80), (9000, 60))
    assert _window(alone, peak) == pytest.approx((1000 / G, 1000 * G))
    both = gables((100, 60), (600, 70 + rise), (700, 70), (1000, 80), (1300, 70),
                  (1500, 70 + rise), (9000, 50))  # fmt: skip
    expected = (700, 1300) if counts else (1000 / G, 1000 * G)
    assert _window(both, peak) == pytest.approx(expected, rel=1e-9)
    far = gables((100, 60), (200, 90), (300, 70), (1000, 80), (3000, 70), (5000, 90), (9000, 50))
    assert _window(far, peak) == pytest.approx((1000 / G, 1000 * G))


@pytest.mark.parametrize(("points", "fitted"), [(8, True), (7, False)])
def test_eight_points_are_the_least(known, points, fitted):
    f = 3000 * G ** (np.arange(-3, points - 3) / 7)
    f = np.concatenate(([500.0, 1400.0], f, [6100.0, 9000.0]))
    curve = Response(f, decibels(known.second_order(f, 3000.0, 4.0, 0)))
    fit = fit_pole_pair(curve, Peak(3000.0, 12.0, 12.0))
    assert (fit is not None) == fitted
    if fit is not None:
        assert fit.q == pytest.approx(4.0, rel=0.01)


def test_the_uncertainty_of_q_is_how_far_it_scatters(known):
    """Forty measurements of one resonance under noise of 0.3 dB, told from one another."""
    rng = np.random.default_rng(12)
    f = np.geomspace(900, 9000, 160)
    clean, peak = decibels(known.second_order(f, 3000.0, 6.0, 0)), Peak(3000.0, 15.6, 15.0)
    fits = [fit_pole_pair(Response(f, clean + rng.normal(0, 0.3, f.size)), peak)
            for _ in range(40)]  # fmt: skip
    scatter = np.std([np.log(fit.q) for fit in fits], ddof=1)
    assert np.sqrt(np.mean([fit.sd_log_q**2 for fit in fits])) == pytest.approx(scatter, rel=0.3)
    # Six parameters take up some of the noise.
    assert 0.24 < np.mean([fit.rms_db for fit in fits]) < 0.3
