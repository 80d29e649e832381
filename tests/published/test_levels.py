"""Levels in closed form: energy means and sums of decibels (ISO 1996 and any textbook).

Recomputed from the formulas; a factor of 2 in pressure is 6.0206 dB.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from experiments.acoustics import Options, listen
from experiments.acoustics.bands import bands, energy_mean
from experiments.acoustics.curves import Response
from experiments.acoustics.response import deviation, level


def steps(*levels, low=100.0, high=10000.0, width=1e-7):
    """A curve of level plateaus of equal width in log frequency."""
    edges = np.geomspace(low, high, len(levels) + 1)
    f, y = [], []
    for i, value in enumerate(levels):
        f += [edges[i] * (1 + width * (i > 0)), edges[i + 1]]
        y += [value, value]
    return np.array(f), np.array(y, dtype=float)


@pytest.mark.parametrize(
    ("levels", "mean"), [((80, 90), 87.4036), ((0, 10, 20), 15.6820), ((85, 85), 85.0)]
)
def test_energy_mean(levels, mean):
    f, y = steps(*levels)
    assert energy_mean(f, y, f[0], f[-1]) == pytest.approx(mean, abs=2e-4)


@pytest.mark.parametrize("slope", [-12.0, -3.0103, 0.5, 6.0, 24.0])
def test_mean_of_a_straight_slope(slope):
    """Over a straight line of s dB an octave the mean of p² is (10^(r) - 1)/(r ln 10)."""
    f = np.geomspace(100, 1600, 5)
    y = 70 + slope * np.log2(f / 100)
    rise = slope * 4 / 10 * math.log(10)
    expected = 70 + 10 * math.log10(math.expm1(rise) / rise)
    assert energy_mean(f, y, 100, 1600) == pytest.approx(expected, abs=1e-9)


def test_pascal_to_decibels():
    """1 Pa is 93.9794 dB re 20 µPa."""
    rows = "\n".join(f"{f};1.0" for f in (100, 200, 400, 800, 1600))
    heard = listen(f"Hz;Pressure (Pa)\n{rows}\n".encode(), kind="response")
    assert heard.metrics["level_db"].value == pytest.approx(93.979400, abs=1e-5)


def test_pink_spectrum_has_equal_band_levels():
    """A density that falls 3.0103 dB an octave has equal power in every fractional-octave band.

    Density times bandwidth: the level of the response curve here is the density, so the band's
    power is its mean density in Hz times its width, worked out from the curve itself.
    """
    f = np.geomspace(20, 20000, 2000)
    powers = []
    for item in bands(100, 8000, 3):
        x = np.linspace(item.low, item.high, 4001)
        density = 10 ** (np.interp(np.log(x), np.log(f), -10 * np.log10(f)) / 10)
        powers.append(10 * np.log10(np.trapezoid(density, x)))
    assert np.ptp(powers) < 1e-3


@pytest.mark.parametrize("ripple", [0.5, 2.0, 5.0])
def test_deviation_of_a_sine_ripple(ripple):
    """Amplitude a: half spread a, standard deviation a / sqrt 2 over whole periods."""
    f = np.geomspace(200, 3200, 4001)
    y = 80 + ripple * np.sin(2 * np.pi * 3 * np.log2(f / 200))
    found = deviation(Response(f, y), (200.0, 3200.0))
    assert found.half_spread_db == pytest.approx(ripple, abs=0.001)
    assert found.sd_db == pytest.approx(ripple / math.sqrt(2), abs=0.001)


def test_deviation_of_a_tilt():
    """A tilt over w dB: half spread w/2, standard deviation w / sqrt 12 (JCGM 100, 4.3.7)."""
    f = np.array([100.0, 10000.0])
    found = deviation(Response(f, np.array([80.0, 92.0])), (100.0, 10000.0))
    assert found.half_spread_db == pytest.approx(6.0)
    assert found.sd_db == pytest.approx(12 / math.sqrt(12))


def test_level_is_not_the_mean_of_the_decibels():
    f, y = steps(80, 90)
    assert level(Response(f, y), (f[0], f[-1])) - 85.0 == pytest.approx(2.4036, abs=1e-3)


def test_listen_gives_the_level_of_the_stated_band():
    f, y = steps(80, 90, low=100.0, high=10000.0)
    text = "\n".join(f"{a:.9f} {b:.6f}" for a, b in zip(f, y, strict=True))
    heard = listen(f"# Hz dB\n{text}\n".encode(), options=Options(band=(2000.0, 8000.0)))
    assert heard.metrics["level_db"].value == pytest.approx(90.0, abs=1e-6)
