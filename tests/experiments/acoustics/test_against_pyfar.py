"""Agreement with pyfar, an open library for audio research, on what both can do.

pyfar is general-purpose; it is used in tests only. `-s` prints the figures.
"""

from __future__ import annotations

import io

import numpy as np
import pyfar
import pytest

from experiments.acoustics.bands import Energy, bands, smooth
from experiments.acoustics.curves import Impulse
from experiments.acoustics.deconvolution import deconvolve
from experiments.acoustics.options import Sweep
from experiments.acoustics.spectrum import response_of_impulse
from experiments.acoustics.stimulus import generate
from experiments.acoustics.sweep import analyse
from experiments.acoustics.wav import read_wav

RATE = 48000


@pytest.fixture(scope="module")
def bells():
    """Two bell filters, so that a response has something to smooth."""
    signal = pyfar.signals.impulse(1 << 15, sampling_rate=RATE)
    signal = pyfar.dsp.filter.bell(signal, 1000, 9, 3)
    return pyfar.dsp.filter.bell(signal, 6000, -12, 4)


@pytest.mark.parametrize("fraction", [1, 3, 6, 12])
def test_smoothing(bells, fraction):
    """pyfar averages magnitudes; given the power spectrum it averages p² as we do.

    Its window is 1/N octave of base two and a whole number of its own bins, ours of base ten.
    """
    power = bells.copy()
    power.freq_raw = np.abs(bells.freq_raw) ** 2
    theirs, (_, width) = pyfar.dsp.smooth_fractional_octave(power, fraction)
    f = bells.frequencies[1:]
    level = 20 * np.log10(np.abs(bells.freq_raw[0, 1:]))
    use = (f > 60) & (f < 18000 / 2 ** (0.5 / fraction))
    # The width that pyfar could realise, in our octaves.
    ours = smooth(f, level, width * np.log2(10**0.3), at=f[use])
    difference = ours - 10 * np.log10(np.abs(theirs.freq_raw[0, 1:][use]))
    print(f"1/{fraction} octave: largest difference {np.max(np.abs(difference)):.4f} dB")
    assert np.max(np.abs(difference)) < 0.02


def test_band_levels_behind_filters():
    """Energies behind pyfar's third-octave filters against means over bands of a spectrum.

    Its filters have skirts, so 0.1 dB are allowed where the spectrum is smooth.
    """
    signal = pyfar.dsp.filter.bell(
        pyfar.signals.impulse(1 << 17, sampling_rate=RATE), 1500, 8, 0.7
    )
    filtered = pyfar.dsp.filter.fractional_octave_bands(
        signal, 3, frequency_range=(200, 8000), order=14
    )
    theirs = 10 * np.log10(np.squeeze(pyfar.dsp.energy(filtered)))
    f = signal.frequencies[1:]
    power = np.abs(signal.freq_raw[0, 1:]) ** 2
    ours = []
    names, _, _ = pyfar.constants.fractional_octave_frequencies_exact(3, (200, 8000))
    chosen = [min(bands(100, 16000, 3), key=lambda b, m=mid: abs(b.mid - m)) for mid in names]
    for item in chosen:
        # Power in a band: mean over log frequency of f times the density, times its width.
        mean = Energy(f, 10 * np.log10(power * f)).mean_level(item.low, item.high)
        ours.append(mean + 10 * np.log10(np.log(item.high / item.low)))
    difference = np.asarray(ours) - theirs
    difference -= np.mean(difference)
    print(f"third-octave bands: largest difference {np.max(np.abs(difference)):.3f} dB")
    assert np.max(np.abs(difference)) < 0.1


def test_sweep_is_the_same():
    sweep = Sweep(50, 16000, 2, "exponential")
    theirs = pyfar.signals.exponential_sweep_time(
        2 * RATE, (50, 16000), n_fade_out=0, sampling_rate=RATE
    )
    np.testing.assert_allclose(generate(sweep, RATE), theirs.time[0], atol=1e-9)


def test_deconvolution(bells):
    """The impulse response from a sweep against pyfar's regularised inversion."""
    sweep = pyfar.signals.exponential_sweep_time(2 * RATE, (50, 20000), sampling_rate=RATE)
    long = pyfar.dsp.pad_zeros(sweep, RATE)
    short = pyfar.dsp.time_window(bells, (0, 8000), shape="right", crop="window")
    recorded = pyfar.dsp.convolve(long, short)
    recorded = pyfar.dsp.pad_zeros(recorded, 0)
    padded = pyfar.dsp.pad_zeros(sweep, recorded.n_samples - sweep.n_samples)
    inverse = pyfar.dsp.RegularizedSpectrumInversion.from_frequency_range(padded, (50, 20000))
    theirs = np.squeeze(pyfar.dsp.convolve(recorded, inverse.invert, mode="cyclic").time)
    y = recorded.time[0]
    ours = deconvolve(y, sweep.time[0], RATE, (50.0, 20000.0))
    size = 1 << 14
    f = np.fft.rfftfreq(size, 1 / RATE)
    use = (f > 100) & (f < 15000)
    # Both are limited in band, so part of them stands before time 0.
    a = 20 * np.log10(np.abs(np.fft.rfft(np.roll(ours, 6000)[:size])))[use]
    b = 20 * np.log10(np.abs(np.fft.rfft(np.roll(theirs, 6000)[:size])))[use]
    print(f"deconvolution: largest difference {np.max(np.abs(a - b)):.4f} dB")
    assert np.max(np.abs(a - b)) < 0.05
    truth = 20 * np.log10(np.abs(short.freq_raw[0]))
    found = analyse(Impulse(y, RATE), Sweep(50, 20000, 2)).response
    at = np.interp(np.log(found.frequency), np.log(short.frequencies[1:]), truth[1:])
    use = (found.frequency > 100) & (found.frequency < 15000)
    difference = np.max(np.abs(found.level - at)[use])
    print(f"response from the sweep: largest error {difference:.4f} dB")
    assert difference < 0.05


def test_response_of_an_impulse(bells):
    found = response_of_impulse(Impulse(bells.time[0], RATE))
    theirs = np.interp(
        found.frequency, bells.frequencies, 20 * np.log10(np.abs(bells.freq_raw[0]))
    )
    difference = np.max(np.abs(found.level - theirs))
    print(f"response of an impulse: largest difference {difference:.4f} dB")
    assert difference < 0.01


@pytest.mark.parametrize("subtype", ["PCM_16", "PCM_24", "PCM_32", "FLOAT", "DOUBLE"])
def test_decoding(tmp_path, known, subtype):
    raw = known.wav(known.mode(700, 9) * 0.8, RATE, subtype)
    path = tmp_path / "a.wav"
    path.write_bytes(raw)
    theirs = pyfar.io.read_audio(path)
    ours = read_wav(raw, "a.wav")
    np.testing.assert_array_equal(ours.samples[:, 0], theirs.time[0])
    assert ours.rate == theirs.sampling_rate
    assert io.BytesIO(raw).read(4) == b"RIFF"
