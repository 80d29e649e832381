"""Fractional-octave bands against IEC 61260-1:2014 and ISO 266:1997, and against pyfar.

The table was recomputed from the formulas of clause 5 (clause number from memory); the nominal
values are those of ISO 266 from memory.
"""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from experiments.acoustics.bands import G, band, bands, nominal

TABLE = [  # b, x, lower, mid-band, upper, nominal
    (1, -5, 22.387211, 31.622777, 44.668359, 31.5),
    (1, -1, 354.813389, 501.187234, 707.945784, 500),
    (1, 1, 1412.537545, 1995.262315, 2818.382931, 2000),
    (1, 4, 11220.184543, 15848.931925, 22387.211386, 16000),
    (3, -16, 22.387211, 25.118864, 28.183829, 25),
    (3, -7, 177.827941, 199.526231, 223.872114, 200),
    (3, 1, 1122.018454, 1258.925412, 1412.537545, 1250),
    (3, 13, 17782.794100, 19952.623150, 22387.211386, 20000),
    (6, 0, 1000.0, 1059.253725, 1122.018454, None),
    (12, 0, 1000.0, 1029.200527, 1059.253725, None),
    (24, 0, 1000.0, 1014.495208, 1029.200527, None),
]


@pytest.mark.parametrize(("b", "x", "low", "mid", "high", "name"), TABLE)
def test_band_edges_and_mid_band_frequencies(b, x, low, mid, high, name):
    found = band(x, b)
    assert found.low == pytest.approx(low, rel=1e-7)
    assert found.mid == pytest.approx(mid, rel=1e-7)
    assert found.high == pytest.approx(high, rel=1e-7)
    if name is not None:
        assert found.nominal == name


def test_octave_ratio():
    assert G == pytest.approx(1.995262315, rel=1e-9)


def test_relative_bandwidths():
    one, third = band(0, 1), band(0, 3)
    assert (one.high - one.low) / one.mid == pytest.approx(0.70459, abs=5e-6)
    assert (third.high - third.low) / third.mid == pytest.approx(0.23077, abs=5e-6)


def test_nominal_third_octaves_of_a_decade():
    expected = [100, 125, 160, 200, 250, 315, 400, 500, 630, 800]
    assert [nominal(x, 3) for x in range(-10, 0)] == expected
    assert [nominal(x, 3) for x in range(-20, -10)] == [v / 10 for v in expected]


def test_nominal_octaves():
    expected = [16, 31.5, 63, 125, 250, 500, 1000, 2000, 4000, 8000, 16000]
    assert [nominal(x, 1) for x in range(-6, 5)] == expected


@pytest.mark.parametrize("b", [1, 2, 3, 6, 12, 24])
def test_neighbours_share_edges(b):
    row = bands(20, 20000, b)
    for left, right in itertools.pairwise(row):
        assert left.high == pytest.approx(right.low, rel=1e-12)


@pytest.mark.parametrize("b", [2, 6, 12])
def test_even_fractions_have_no_band_centred_on_1_khz(b):
    assert all(abs(item.mid - 1000) > 10 for item in bands(500, 2000, b))
    assert any(abs(item.low - 1000) < 1e-9 for item in bands(500, 2000, b))


@pytest.mark.parametrize("b", [1, 3])
def test_agrees_with_pyfar(b):
    """pyfar gives exact, cut-off and nominal frequencies of the same standard."""
    import pyfar

    exact, low, high = pyfar.constants.fractional_octave_frequencies_exact(b, (20, 20000))
    named = pyfar.constants.fractional_octave_frequencies_nominal(b, (20, 20000))
    ours = {item.nominal: item for item in bands(10, 40000, b)}
    picked = [ours[float(name)] for name in named]
    np.testing.assert_allclose([item.mid for item in picked], exact, rtol=1e-9)
    np.testing.assert_allclose([item.low for item in picked], low, rtol=1e-9)
    np.testing.assert_allclose([item.high for item in picked], high, rtol=1e-9)
    assert len(picked) == (11 if b == 1 else 31)
