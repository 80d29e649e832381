"""Distortion in closed form.

Fourier series of square, triangle and sawtooth waves; Chebyshev polynomials; polynomials through
a swept sine (A. Farina 2000; A. Novak, P. Lotton, L. Simon 2015). Recomputed from the formulas.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from experiments.acoustics import Options, Sweep, listen
from experiments.acoustics.curves import Impulse
from experiments.acoustics.distortion import of_fundamental, of_total, percent_from_db, thd
from experiments.acoustics.stimulus import generate, lead, time_constant
from experiments.acoustics.sweep import analyse


def series(shape, orders):
    k = np.arange(1, orders + 1)
    if shape == "square":
        return np.where(k % 2 == 1, 1.0 / k, 0.0)
    if shape == "triangle":
        return np.where(k % 2 == 1, 1.0 / k**2, 0.0)
    return 1.0 / k


@pytest.mark.parametrize(
    ("shape", "of_f", "of_r"),
    [
        ("square", 48.3426, 43.5236),
        ("triangle", 12.1153, None),
        ("sawtooth", 80.3078, None),
    ],
)
def test_thd_of_known_waves(shape, of_f, of_r):
    amplitudes = series(shape, 200001)
    assert thd(amplitudes) == pytest.approx(of_f, rel=2e-5)
    if of_r is not None:
        assert thd(amplitudes, "total") == pytest.approx(of_r, rel=2e-5)


def test_square_wave_up_to_the_fifth_harmonic():
    text = f"Hz,HD2 %,HD3 %,HD4 %,HD5 %\n100,0,{100 / 3},0,20\n200,0,{50 / 3},0,10\n300,0,1,0,1\n"
    heard = listen(text.encode())
    assert heard.metrics["thd_peak_percent"].value == pytest.approx(38.8730, abs=1e-4)
    assert heard.metrics["hd3_percent"].value == pytest.approx(100 / 3)
    of_all = listen(text.encode(), options=Options(thd_of="total"))
    d = math.sqrt(1 / 9 + 1 / 25)
    assert of_all.metrics["thd_peak_percent"].value == pytest.approx(
        100 * d / math.sqrt(1 + d * d)
    )


@pytest.mark.parametrize(("of_f", "of_r"), [(10.0, 9.95037), (100.0, 70.7107)])
def test_fundamental_and_total(of_f, of_r):
    assert of_total(of_f) == pytest.approx(of_r, rel=1e-6)
    assert of_fundamental(of_r) == pytest.approx(of_f, rel=1e-5)


@pytest.mark.parametrize(("level", "percent"), [(-26.0206, 5.0), (-40.0, 1.0), (-60.0, 0.1)])
def test_decibels_to_percent(level, percent):
    assert percent_from_db(level) == pytest.approx(percent, rel=1e-6)


def test_leads_of_the_harmonics():
    """10 s, 20 Hz to 20 kHz: L = 1.4476483 s; synchronised: 1.45 s."""
    plain = Sweep(20, 20000, 10, "exponential")
    assert time_constant(plain) == pytest.approx(1.4476483, rel=1e-7)
    expected = [1.003433, 1.590404, 2.006867, 2.329900]
    assert [lead(plain, k) for k in (2, 3, 4, 5)] == pytest.approx(expected, rel=1e-6)
    even = Sweep(20, 20000, 10, "synchronised")
    assert time_constant(even) == pytest.approx(29 / 20, rel=1e-12)
    assert [lead(even, k) for k in (2, 3)] == pytest.approx([1.005063, 1.592988], rel=1e-6)
    assert generate(even, 48000).size / 48000 == pytest.approx(10.016245, abs=2e-5)


def test_sweep_passes_the_geometric_mean_halfway():
    sweep, rate = Sweep(20, 20000, 10, "exponential"), 48000
    x = generate(sweep, rate)
    middle = x[x.size // 2 - 400 : x.size // 2 + 400]
    spectrum = np.abs(np.fft.rfft(middle * np.hanning(800), 1 << 18))
    found = np.argmax(spectrum) * rate / (1 << 18)
    assert found == pytest.approx(632.456, rel=0.002)


def test_spectrum_of_the_sweep():
    """|X(f)| is about (A/2) sqrt(L/f) in seconds, so it falls 3.0103 dB an octave."""
    sweep, rate = Sweep(20, 20000, 10, "exponential"), 48000
    x = generate(sweep, rate)
    size = np.abs(np.fft.rfft(x)) / rate
    f = np.fft.rfftfreq(x.size, 1 / rate)
    for centre in (200.0, 1000.0, 5000.0):
        near = (f > centre * 0.9) & (f < centre * 1.1)
        mean = np.sqrt(np.mean(size[near] ** 2 * f[near]))
        assert mean == pytest.approx(0.5 * np.sqrt(time_constant(sweep)), rel=0.005)


@pytest.mark.parametrize("law", ["exponential", "synchronised"])
@pytest.mark.parametrize(
    ("b", "c", "amplitude"), [(0.1, 0.0, 1.0), (0.0, 0.1, 1.0), (0.04, 0.06, 0.5)]
)
def test_polynomial_through_a_sweep(law, b, c, amplitude):
    """x + b x² + c x³: HD2 = A b/2 and HD3 = (c A²/4), both over 1 + 3 c A²/4."""
    rate, sweep = 48000, Sweep(20, 10000, 3, law)
    x = amplitude * generate(sweep, rate)
    y = np.concatenate((np.zeros(700), x + b * x**2 + c * x**3, np.zeros(rate // 2)))
    stated = Sweep(20, 10000, 3, None, amplitude)
    found = analyse(Impulse(y, rate), stated)
    assert found.law == law
    assert found.latency == pytest.approx(700 / rate, abs=1 / rate)
    linear = 1 + 3 * c * amplitude**2 / 4
    f = found.distortion.frequency
    use = (f > 40) & (f < 4000)
    for order, expected in ((2, amplitude * b / 2 / linear), (3, c * amplitude**2 / 4 / linear)):
        values = found.distortion.harmonics[order][use]
        # What is not there lies in the noise of the computation, and then has no value.
        values = values[np.isfinite(values)] if expected == 0 else values
        np.testing.assert_allclose(values, 100 * expected, rtol=0.02, atol=0.01)
    use = (found.response.frequency > 25) & (found.response.frequency < 9500)
    np.testing.assert_allclose(found.response.level[use], 20 * np.log10(linear), atol=0.06)


def test_chebyshev_polynomials_give_one_harmonic_each():
    """T2(sin x) = -cos 2x and so on: each makes one harmonic of its own amplitude."""
    rate, sweep = 48000, Sweep(20, 8000, 3, "exponential")
    x = generate(sweep, rate)
    given = {2: 0.02, 3: 0.03, 4: 0.01, 5: 0.015}
    y = x.copy()
    for order, amplitude in given.items():
        y += amplitude * np.polynomial.chebyshev.chebval(x, np.eye(order + 1)[order])
    found = analyse(Impulse(np.concatenate((y, np.zeros(rate // 2))), rate), sweep).distortion
    use = (found.frequency > 50) & (found.frequency < 3000)
    for order, amplitude in given.items():
        np.testing.assert_allclose(
            found.harmonics[order][use], 100 * amplitude, rtol=0.02, atol=0.01
        )
