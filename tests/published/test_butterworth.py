"""Range limits and poles against filters in closed form.

S. Butterworth, On the theory of filter amplifiers, 1930: A(f) = 10 lg(1 + (f/fc)^2n).
S. Linkwitz, Active crossover networks, 1976: A(f) = 20 lg(1 + (f/fc)^4).
The ratios were recomputed from these formulas.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, freqs

from experiments.acoustics.curves import Response
from experiments.acoustics.resonance import fit_pole_pair, peaks
from experiments.acoustics.response import effective_range

RATIOS = {  # n: ratio f/fc at 3, 6, 10, 20 dB
    1: {3: 0.997628, 6: 1.726578, 10: 3.0, 20: 9.949874},
    2: {3: 0.998813, 6: 1.313993, 10: 1.732051, 20: 3.154342},
    3: {3: 0.999209, 6: 1.199671, 10: 1.442250, 20: 2.150829},
    4: {3: 0.999407, 6: 1.146295, 10: 1.316074, 20: 1.776047},
}
GRIDS = {
    "1/48 octave": np.geomspace(20, 40000, 530),
    "1/12 octave": np.geomspace(20, 40000, 133),
    "even in Hz": np.arange(10.0, 40000.0, 10.0),
}


def curve(frequency, level):
    return Response(frequency, level)


@pytest.mark.parametrize("grid", GRIDS)
@pytest.mark.parametrize("order", RATIOS)
@pytest.mark.parametrize("drop", [3, 6, 10, 20])
@pytest.mark.parametrize("shape", ["low-pass", "high-pass"])
def test_limits_of_butterworth_filters(grid, order, drop, shape):
    f = GRIDS[grid]
    corner = 1500.0 if shape == "low-pass" else 400.0
    ratio = f / corner if shape == "low-pass" else corner / f
    level = 80 - 10 * np.log10(1 + ratio ** (2 * order))
    found = effective_range(curve(f, level), drop, (20.0, 40000.0))
    # The reference is an octave far inside the pass band, where the level is 80 dB.
    assert found.reference_db == pytest.approx(80.0, abs=0.02)
    expected = corner * RATIOS[order][drop]
    value = found.upper_hz
    if shape == "high-pass":
        expected, value = corner / RATIOS[order][drop], found.lower_hz
    # Straight lines over a bend miss by little; near 3 dB the slope is small and the reference's
    # own 0.01 dB counts.
    coarse = grid == "1/12 octave"
    assert value == pytest.approx(expected, rel=0.006 if coarse or drop == 3 else 0.003)
    assert (found.lower_hz is None) == (shape == "low-pass")
    assert (found.upper_hz is None) == (shape == "high-pass")


def test_table_agrees_with_scipy():
    """The same ratios from scipy's analogue Butterworth design."""
    for order, row in RATIOS.items():
        for drop, ratio in row.items():
            b, a = butter(order, 1.0, analog=True)
            _, h = freqs(b, a, [ratio])
            assert -20 * np.log10(abs(h[0])) == pytest.approx(drop, abs=1e-4)


@pytest.mark.parametrize(("drop", "ratio"), [(3, 0.801431), (6, 0.998813), (10, 1.212629)])
def test_limits_of_a_linkwitz_riley_filter(drop, ratio):
    f = GRIDS["1/48 octave"]
    level = -20 * np.log10(1 + (f / 2000.0) ** 4)
    found = effective_range(curve(f, level), drop)
    assert found.upper_hz == pytest.approx(2000.0 * ratio, rel=0.003)


@pytest.mark.parametrize("q", [1.0, 2.0, 5.0, 10.0, 20.0, 40.0])
@pytest.mark.parametrize("power", [0, 1, 2])
@pytest.mark.parametrize("points", [400, 2000])
def test_poles_of_a_second_order_section(q, power, points):
    """|H(f0)| = Q; low-pass (0), band-pass (1) and high-pass (2) share one pole pair.

    The peak of the low-pass lies at f0 sqrt(1 - 1/2Q²), off the natural frequency.
    """
    f0 = 3000.0
    f = np.geomspace(100, 20000, points)
    s = 1j * f / f0
    level = 20 * np.log10(np.abs(s**power / (s * s + s / q + 1)))
    peak = max(peaks(Response(f, level), 0.5), key=lambda item: item.prominence)
    if power == 0:
        assert peak.frequency == pytest.approx(
            f0 * np.sqrt(1 - 0.5 / q**2), rel=200 ** (1 / points)
        )
    found = fit_pole_pair(Response(f, level), peak)
    assert found is not None
    assert found.frequency == pytest.approx(f0, rel=0.006 if q == 1.0 else 0.003)
    assert found.q == pytest.approx(q, rel=0.01)
    assert found.carried
