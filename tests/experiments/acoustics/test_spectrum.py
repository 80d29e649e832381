from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, freqz, lfilter

from experiments.acoustics import Options
from experiments.acoustics.curves import Impulse
from experiments.acoustics.listening import measure
from experiments.acoustics.reading import read
from experiments.acoustics.spectrum import (
    cut_off,
    faded,
    gate_length,
    response_of_impulse,
    settling,
)
from experiments.errors import CurveError

RATE = 48000


def filtered(corner, kind, order=2, seconds=0.25, lead=100):
    b, a = butter(order, corner, kind, fs=RATE)
    x = np.zeros(int(seconds * RATE))
    x[lead] = 1.0
    return lfilter(b, a, x), (b, a)


def test_response_of_a_filter():
    h, (b, a) = filtered(3000.0, "low")
    found = response_of_impulse(Impulse(h, RATE))
    _, truth = freqz(b, a, found.frequency, fs=RATE)
    use = found.frequency < 15000
    np.testing.assert_allclose(found.level[use], 20 * np.log10(np.abs(truth[use])), atol=0.01)


def test_limits_of_a_filter_through_its_impulse_response():
    h, _ = filtered([150.0, 4000.0], "bandpass", 2, seconds=0.5)
    b, a = butter(2, [150.0, 4000.0], "bandpass", fs=RATE)
    f = np.geomspace(20, 20000, 200001)
    level = 20 * np.log10(np.abs(freqz(b, a, f, fs=RATE)[1]))
    heard = measure(Impulse(h, RATE))
    low = f[np.argmax(level > -10)]
    high = f[f.size - 1 - np.argmax(level[::-1] > -10)]
    # The reference octave is flat to 0.05 dB.
    assert heard.metrics["lower_limit_hz"].value == pytest.approx(low, rel=0.01)
    assert heard.metrics["upper_limit_hz"].value == pytest.approx(high, rel=0.01)


def test_gate_length_leaves_zeros_out():
    h = np.zeros(4800)
    h[100:1300] = 1e-3
    h[100] = 1.0
    assert gate_length(Impulse(h, RATE)) == pytest.approx(1200 / RATE)
    assert gate_length(Impulse(np.zeros(100), RATE)) == 0.0


def test_a_short_gate_carries_no_low_limit():
    """Cut off after 5 ms nothing is known below 200 Hz, though the filter reaches 60 Hz."""
    h, _ = filtered(60.0, "high", 2, seconds=0.5)
    cut = h.copy()
    cut[100 + 240 :] = 0.0
    heard = measure(Impulse(cut, RATE), Options(band=(300.0, 10000.0)))
    assert heard.metrics["lower_limit_hz"].value is None
    assert any(item.code == "gate_too_short" for item in heard.warnings)
    assert heard.curve.samples.size == h.size
    assert heard.curves["response"].floor_hz == pytest.approx(200.0, rel=0.01)


def test_a_band_below_the_gate_is_not_carried():
    h, _ = filtered(60.0, "high", 2, seconds=0.5)
    h[100 + 240 :] = 0.0
    heard = measure(Impulse(h, RATE), Options(band=(100.0, 10000.0)))
    assert heard.metrics["level_db"].value is None
    assert heard.metrics["deviation_db"].value is None
    assert any(item.code == "gate_too_short" for item in heard.warnings)


def test_noise_takes_a_limit_away():
    """The limit lies at -40 dB; the noise of the record stands there."""
    h, (b, a) = filtered(1000.0, "low", 2, seconds=0.2)
    f = np.geomspace(2000, 20000, 20001)
    truth = f[np.argmax(np.abs(freqz(b, a, f, fs=RATE)[1]) < 0.01)]
    noisy = h + np.random.default_rng(0).normal(0, 3e-4, h.size)
    quiet = measure(Impulse(h, RATE), Options(drop_db=40, band=(100, 500)))
    loud = measure(Impulse(noisy, RATE), Options(drop_db=40, band=(100, 500)))
    assert quiet.metrics["upper_limit_hz"].value == pytest.approx(truth, rel=0.01)
    assert loud.metrics["upper_limit_hz"].value is None
    assert any(item.code in ("noise_floor", "beyond_measured_range") for item in loud.warnings)


@pytest.mark.parametrize("samples", [np.zeros(100), np.eye(1, 100, 99)[0]])
def test_refuses_what_carries_nothing(samples):
    with pytest.raises(CurveError):
        response_of_impulse(Impulse(samples, RATE))


def test_a_faded_record_keeps_its_peak_and_ends_in_silence(known):
    """A raised cosine is 1 at the peak, 1/2 in the middle and 0 at the end."""
    impulse = Impulse(known.mode(1000.0, 500.0, seconds=0.05) + 0.0, 48000.0)
    place = int(np.argmax(np.abs(impulse.samples)))
    found = faded(impulse).samples
    middle = (impulse.samples.size + place) // 2
    np.testing.assert_array_equal(found[: place + 1], impulse.samples[: place + 1])
    assert found[middle] == pytest.approx(impulse.samples[middle] / 2, rel=2e-3)
    assert np.max(np.abs(found[-20:])) < 1e-3


@pytest.mark.parametrize("kind", ["PCM_16", "PCM_24", "FLOAT", "DOUBLE"])
def test_settling_does_not_depend_on_how_samples_are_written(known, kind):
    """A mode of 1 kHz and Q 10 falls to 0.1 % in ln(1000) Q / (pi f0) = 21.99 ms."""
    raw = known.wav(0.8 * known.mode(1000, 10), RATE, kind)
    impulse = read(raw, "a.wav", None, Options()).curve
    assert settling(impulse) == pytest.approx(0.02199, rel=0.02)


def test_a_cut_record_is_told_from_noise(known):
    h = known.mode(1000, 10)
    rng = np.random.default_rng(2)
    assert not cut_off(Impulse(h, 48000))
    assert not cut_off(Impulse(h + 0.05 * rng.standard_normal(h.size), 48000))
    assert cut_off(Impulse(h[:900], 48000))  # 500 samples after the start: 0.8 of 13 ms
    zeroed = np.where(np.arange(h.size) < 900, h, 0.0)
    assert cut_off(Impulse(zeroed, 48000))
    assert response_of_impulse(Impulse(zeroed, 48000)).noise_db is None
    assert not cut_off(Impulse(np.zeros(100), 48000))
