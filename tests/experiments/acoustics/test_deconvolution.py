"""Division of spectra; see also test_against_pyfar."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.acoustics.curves import Impulse
from experiments.acoustics.deconvolution import deconvolve, loopback_peak
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate
from experiments.acoustics.sweep import analyse
from tests.experiments.acoustics.recordings import RATE, SWEEP, recorded, truth


def test_a_delay_and_a_gain_come_back():
    x = generate(SWEEP, RATE)
    y = 0.3 * np.concatenate((np.zeros(777), x, np.zeros(RATE // 4)))
    h = deconvolve(y, x, RATE, (20, 20000))
    assert int(np.argmax(np.abs(h))) == 777
    f = np.fft.rfftfreq(h.size, 1 / RATE)
    size = np.abs(np.fft.rfft(h))
    np.testing.assert_allclose(size[(f > 20) & (f < 20000)], 0.3, rtol=1e-6)
    assert np.max(size[(f < 9) | (f > 22500)]) < 1e-3


def test_the_peak_on_a_loopback_channel_is_read_from_the_spectrum():
    x = generate(SWEEP, RATE)
    beside = np.concatenate((np.zeros(999), 0.123 * x, np.zeros(5000)))
    beside += 1e-3 * np.random.default_rng(0).standard_normal(beside.size)
    assert loopback_peak(beside, SWEEP, RATE) == pytest.approx(0.123, rel=1e-3)


@pytest.mark.parametrize("fault", ["click", "noise", "hard clipping"])
def test_what_lies_beyond_a_faded_sweep_does_not_drown_it(fault):
    """A sweep with fades has nothing beyond its ends to divide by; clicks and noise have."""
    faded = Sweep(20, 20000, 3, "exponential", 1.0, 0.05, 0.01)
    y, _, filters = recorded(faded, b=0.0, c=0.0)
    if fault == "click":
        y[100_000] += 0.5
    elif fault == "noise":
        y += 0.01 * np.random.default_rng(0).standard_normal(y.size)
    else:
        y = 2 * np.clip(y, -0.25, 0.25)
    found = analyse(Impulse(y, RATE), Sweep(20, 20000, 3, "exponential", 0.5, 0.05, 0.01))
    assert found.latency == pytest.approx(0.05, abs=5e-4)
    if fault != "hard clipping":
        f = found.response.frequency
        use = (f > 100) & (f < 8000)
        error = found.response.level[use] - truth(filters, f)[use]
        assert np.sqrt(np.mean(error**2)) < 0.25


def test_fades_are_divided_out():
    """A sweep with long fades has the same response between them as one without."""
    faded = Sweep(20, 20000, 3, "exponential", 1.0, 0.2, 0.05)
    y, _, filters = recorded(faded, b=0.0, c=0.0)
    found = analyse(Impulse(y, RATE), Sweep(20, 20000, 3, "exponential", 0.5, 0.2, 0.05))
    f = found.response.frequency
    use = (f > 23) & (f < 19000)
    np.testing.assert_allclose(found.response.level[use], truth(filters, f)[use], atol=0.1)
