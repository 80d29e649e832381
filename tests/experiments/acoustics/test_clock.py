"""Two clocks: a recording resampled by scipy and pyfar is that of a recorder that runs fast."""

from __future__ import annotations

import re
from functools import cache

import numpy as np
import pytest
from scipy.interpolate import CubicSpline
from scipy.signal import butter, fftconvolve, lfilter

from experiments.acoustics.clock import LARGEST, Clock, compare_clocks, smear_phase, stretched
from experiments.acoustics.curves import Impulse
from experiments.acoustics.decay import decay
from experiments.acoustics.deconvolution import deconvolve
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate, time_constant
from experiments.acoustics.sweep import _decay_doubt, analyse
from experiments.errors import CurveError

RATE = 48000
SWEEP = Sweep(20, 16000, 5, "exponential")
BAND = (20, 16000)


def mode(f0, q):
    """A resonance as a digital filter: poles at f0 with quality factor q."""
    w = 2 * np.pi * f0 / RATE
    r = np.exp(-w / (2 * q))
    return [1, 0, -1], [1, -2 * r * np.cos(w), r * r]


def driver(x):
    """High-pass at 90 Hz, roll-off at 9 kHz, and a mode at 3 kHz that rings for a millisecond."""
    y = lfilter(*butter(2, [90, 9000], "bandpass", fs=RATE), x)
    return y + 0.02 * lfilter(*mode(3000, 15), y)


def played():
    x = generate(SWEEP, RATE)
    return np.concatenate((np.zeros(3000), x, np.zeros(RATE // 2)))


@cache
def recorded(error):
    """Record at a rate that is higher by a share: scipy's spline reads between the samples.

    The signal is oversampled four times before, so that the spline errs by less than 1e-4.
    """
    y = driver(played())
    spectrum = np.fft.rfft(y)
    dense = np.fft.irfft(spectrum, 4 * y.size) * 4
    times = np.arange(int(y.size * (1 + error)) - 8) / (1 + error)
    return CubicSpline(np.arange(dense.size) / 4, dense)(times)


@cache
def one_device():
    """What the sweep tells where one clock plays and records."""
    return analyse(Impulse(driver(played()), RATE), SWEEP)


@cache
def two_devices(error):
    return analyse(Impulse(recorded(error), RATE), SWEEP)


def compared(error):
    h = deconvolve(recorded(error), generate(SWEEP, RATE), RATE, BAND)
    arrival = int(np.argmax(np.abs(h)))
    return compare_clocks(h, arrival, time_constant(SWEEP), BAND, RATE)


@pytest.mark.parametrize("ppm", [60, -200, 450])
def test_a_clock_is_found(ppm):
    found = compared(ppm * 1e-6)
    assert found.error == pytest.approx(ppm * 1e-6, abs=found.doubt)
    # Two periods at the driver's upper end over the sweep's 5 s.
    assert 2 / (16000 * 5) <= found.doubt < 2 / (12000 * 5)
    assert found.smear == pytest.approx(abs(found.error) * 5)


def test_equal_clocks_are_left_alone():
    assert compared(0.0).error == 0.0


@pytest.mark.parametrize("corner", [1500, 3000, 12000])
@pytest.mark.parametrize("seconds", [2, 8])
def test_a_drivers_own_phase_is_no_clock(corner, seconds):
    """Minimum-phase roll-offs delay frequencies too."""
    sweep = Sweep(20, 16000, seconds, "exponential")
    x = generate(sweep, RATE)
    y = lfilter(*butter(4, [60, corner], "bandpass", fs=RATE), np.append(x, np.zeros(RATE // 2)))
    h = deconvolve(y, x, RATE, BAND)
    found = compare_clocks(h, int(np.argmax(np.abs(h))), time_constant(sweep), BAND, RATE)
    assert found.error == 0.0


def test_the_stretched_sweep_is_what_the_recorder_sees():
    """Its sample n is the sweep's at the time n / rate / (1 + e), whatever the law."""
    error = 3e-4
    for law in ("exponential", "synchronised"):
        sweep = Sweep(20, 16000, 5, law)
        seen = generate(stretched(sweep, error), RATE)
        t = np.arange(seen.size) / RATE / (1 + error)
        length = time_constant(sweep)
        expected = np.sin(2 * np.pi * 20 * length * np.expm1(t / length))
        np.testing.assert_allclose(seen, expected, atol=1e-6)
    assert stretched(SWEEP, 0.0) == SWEEP


def test_decay_and_response_come_back():
    """With the clock undone the decay is that of one device within the doubt that is stated."""
    one, two = one_device(), two_devices(2e-4)
    assert "clock_differs" not in [item.code for item in one.warnings]
    (warning,) = (item for item in two.warnings if item.code == "clock_differs")
    assert "ppm fast" in warning.text
    two_periods = 2 / 16000
    truth, found = decay(one.impulse).seconds, decay(two.impulse).seconds
    smeared = deconvolve(recorded(2e-4), generate(SWEEP, RATE), RATE, BAND)
    start = int(np.argmax(np.abs(smeared))) - 480
    wrong = decay(Impulse(smeared[start : start + RATE // 2], RATE)).seconds
    assert found == pytest.approx(truth, abs=two_periods)
    assert abs(wrong - truth) > 5e-4
    f = one.response.frequency
    level = np.interp(f, two.response.frequency, two.response.level)
    use = (f > 40) & (f < 12000)
    np.testing.assert_allclose(level[use], one.response.level[use], atol=0.1)


@pytest.mark.parametrize(
    "ppm", [-200, 150, 200, *(pytest.param(each, marks=pytest.mark.slow) for each in (-300, 300))]
)
def test_the_stated_doubt_of_the_decay_holds(ppm):
    """One device gives the truth; the decay is within what is stated of it, or left out."""
    truth = 1000 * decay(one_device().impulse).seconds
    found = two_devices(ppm * 1e-6)
    (text,) = (item.text for item in found.warnings if item.code == "clock_differs")
    if "the decay cannot be told to 5 %" in text:
        assert found.spoilt == ("decay_ms",)
        return
    assert found.spoilt == ()
    doubt = float(re.search(r"decay is uncertain by about ([\d.e-]+) ms", text)[1])
    assert doubt <= 0.05 * truth
    assert 1000 * decay(found.impulse).seconds == pytest.approx(truth, abs=1.1 * doubt)


def test_the_doubt_of_a_decay_is_what_the_clock_leaves_open():
    """An impulse response smeared by the whole doubt differs by no more than is stated."""
    impulse = one_device().impulse
    doubt = 2e-7
    stated = _decay_doubt(impulse, Clock(1e-4, doubt, 1e-3), SWEEP)
    n = impulse.samples.size
    phase = smear_phase(np.fft.rfftfreq(n, 1 / RATE), time_constant(SWEEP), 20)
    for sign in (-1, 1):
        turned = np.fft.rfft(impulse.samples) * np.exp(1j * sign * doubt * phase)
        smeared = Impulse(np.fft.irfft(turned, n), RATE)
        assert abs(decay(smeared).seconds - decay(impulse).seconds) <= stated + 1e-9
    assert _decay_doubt(impulse, Clock(1e-4, 2e-4, 1e-3), SWEEP) is None
    # Where nothing was undone the whole difference is in doubt.
    assert _decay_doubt(impulse, Clock(2e-4, doubt, 1e-4), SWEEP) is None


def crossover(x):
    """Fourth-order Linkwitz-Riley branches at 3 kHz; their sum is an all-pass."""
    low = high = x
    for _ in range(2):
        low = lfilter(*butter(2, 3000, "low", fs=RATE), low)
        high = lfilter(*butter(2, 3000, "high", fs=RATE), high)
    return low + high


@pytest.mark.parametrize("seconds", [0.5, 2, 8])
def test_what_a_crossover_can_do_is_told_and_not_undone(seconds):
    sweep = Sweep(20, 16000, seconds, "exponential")
    x = np.concatenate((np.zeros(1000), generate(sweep, RATE), np.zeros(RATE // 2)))
    one, two = (analyse(Impulse(y, RATE), sweep) for y in (x, crossover(x)))
    (warning,) = (item for item in two.warnings if item.code == "clock_differs")
    assert "or a crossover may do it" in warning.text
    # Nothing was undone: the all-pass has the gain 1 and leaves the arrival where it is.
    np.testing.assert_allclose(two.response.level[50:-50], one.response.level[50:-50], atol=0.2)


@pytest.mark.parametrize("seed", range(4))
def test_a_rooms_echoes_are_no_clock(seed):
    """Exponentially decaying noise after the direct sound."""
    rng = np.random.default_rng(seed)
    n = RATE // 5
    echoes = rng.standard_normal(n) * np.exp(-np.arange(n) / (0.04 * RATE)) * 0.03
    echoes[:96] = 0.0
    echoes[0] = 1.0
    y = fftconvolve(driver(played()), echoes)
    h = deconvolve(y, generate(SWEEP, RATE), RATE, BAND)
    found = compare_clocks(h, int(np.argmax(np.abs(h))), time_constant(SWEEP), BAND, RATE)
    assert found.error == 0.0


def test_a_larger_difference_is_another_sweep():
    with pytest.raises(CurveError, match="rises slightly slower"):
        analyse(Impulse(recorded(1.6 * LARGEST), RATE), SWEEP)


def test_with_the_stimulus_beside_it_clocks_do_not_matter():
    """The loopback channel has the recorder's own clock."""
    x = played()
    error = 2e-4
    times = np.arange(int(x.size * (1 + error)) - 8) / (1 + error)
    dense = np.fft.irfft(np.fft.rfft(x), 4 * x.size) * 4
    beside = CubicSpline(np.arange(dense.size) / 4, dense)(times)
    found = analyse(Impulse(recorded(error), RATE), SWEEP, beside)
    assert "clock_differs" not in [item.code for item in found.warnings]
