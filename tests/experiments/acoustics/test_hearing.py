"""Level, deviation and limits against noise, quantisation and cut records.

The reference is the transform of a sampled decaying sine in closed form, by `scipy.signal.freqz`:
sum of e^(-a n) sin(w n) z^(-n) = e^(-a) sin(w) / (z - 2 e^(-a) cos(w) + e^(-2a) / z).
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import freqz

from experiments.acoustics import Options, listen

RATE, F0, Q = 48000, 4000.0, 20.0
BAND = (1000.0, 16000.0)
NAMES = ("level_db", "deviation_db", "deviation_sd_db")


def codes(heard):
    return [item.code for item in heard.warnings]


def values(heard):
    return [heard.metrics[name].value for name in NAMES]


def truth(band):
    """Level, deviation and its standard deviation of the mode in a band."""
    f = np.geomspace(*band, 40001)
    a, w = np.pi * F0 / Q / RATE, 2 * np.pi * F0 / RATE
    top, bottom = [0, np.exp(-a) * np.sin(w)], [1, -2 * np.exp(-a) * np.cos(w), np.exp(-2 * a)]
    y = 20 * np.log10(np.abs(freqz(top, bottom, f, fs=RATE)[1]))
    return 10 * np.log10(np.mean(10 ** (y / 10))), np.ptp(y) / 2, np.std(y)


@pytest.fixture(scope="module")
def mode(known):
    return known.mode(F0, Q)


def noisy(mode, decibels):
    noise = np.random.default_rng(6).standard_normal(mode.size)
    return mode + 10 ** (decibels / 20) * noise


def text_of(h):
    rows = [f"{(i - 400) / RATE:.9f};{value:.7f}" for i, value in enumerate(h)]
    return "\n".join(["Time (s);Amplitude", *rows]).encode()


def test_a_mode_without_noise(known, mode):
    heard = listen(known.wav(mode), options=Options(band=BAND))
    level, half, deviation = truth(BAND)
    # Averaging over 1/48 octave (1.4 %) takes 0.4 dB off the top of a peak 5 % wide.
    assert heard.metrics["level_db"].value == pytest.approx(level, abs=0.05)
    assert heard.metrics["deviation_db"].value == pytest.approx(half, abs=0.2)
    assert heard.metrics["deviation_sd_db"].value == pytest.approx(deviation, abs=0.1)


@pytest.fixture(scope="module", params=[Options(), Options(band=BAND)])
def exact(request, known, mode):
    """Options, and what they tell of samples that nothing was rounded in."""
    raw = known.wav(0.8 * mode, RATE, "DOUBLE")
    return request.param, values(listen(raw, options=request.param))


@pytest.mark.parametrize("form", ["PCM_16", "PCM_24", "FLOAT", "text"])
def test_quantisation_moves_nothing(known, mode, form, exact):
    h = 0.8 * mode
    raw = text_of(h[:6000]) if form == "text" else known.wav(h, RATE, form)
    options, wanted = exact
    assert None not in wanted
    np.testing.assert_allclose(values(listen(raw, options=options)), wanted, atol=0.05)


def test_the_range_without_a_band_is_stated(known, mode):
    heard = listen(known.wav(mode))
    # ln(1000) Q / (pi f0) = 11 ms
    assert any(
        "from 1/T on, T = 1" in note and "0.1 % of the peak" in note for note in heard.notes
    )


@pytest.mark.parametrize("decibels", [-60, -50])
def test_deviation_does_not_measure_the_noise(known, mode, decibels):
    raw = known.wav(noisy(mode, decibels))
    heard = listen(raw, options=Options(band=BAND))
    assert heard.metrics["level_db"].value == pytest.approx(truth(BAND)[0], abs=0.2)
    assert heard.metrics["deviation_db"].value is None
    assert heard.metrics["deviation_sd_db"].value is None
    assert "noise_floor" in codes(heard)
    assert values(listen(raw)) == [None, None, None]


def test_where_the_curve_is_clear_of_the_noise_deviation_is_that_of_the_curve(known, mode):
    band = (3000.0, 5500.0)
    heard = listen(known.wav(noisy(mode, -60)), options=Options(band=band))
    assert heard.metrics["deviation_db"].value == pytest.approx(truth(band)[1], abs=0.4)


def test_a_level_that_is_mostly_noise_is_none(known, mode):
    raw = known.wav(noisy(mode, -20))
    heard = listen(raw, kind="impulse", options=Options(band=BAND))
    assert heard.metrics["level_db"].value is None


@pytest.mark.parametrize("zeros", [False, True])
def test_a_cut_record_is_called_cut_and_not_noisy(known, mode, zeros):
    h = np.where(np.arange(mode.size) < 540, mode, 0.0) if zeros else mode[:540]
    heard = listen(known.wav(h))
    said = " ".join(item.text for item in heard.warnings)
    assert "cut off" in said
    assert "noise_floor" not in codes(heard)
    assert heard.metrics["breakup_hz"].value == pytest.approx(F0, rel=0.01)
