"""Absolute levels against closed forms, and against pyfar's sine and its levels."""

from __future__ import annotations

import math

import numpy as np
import pyfar
import pytest

from experiments.acoustics import Options, Response, listen, measure
from experiments.acoustics.calibration import (
    absolute,
    calibrator_tone,
    condition_db,
    sensitivity_from_volts,
)
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate
from experiments.errors import CurveError

RATE = 48000


def tone(frequency=1000.0, level=-26.0, seconds=5.0, rate=RATE):
    """pyfar's sine: its peak is 10^(level/20) of full scale."""
    signal = pyfar.signals.sine(
        frequency, round(seconds * rate), amplitude=10 ** (level / 20), sampling_rate=rate
    )
    return signal.time[0]


@pytest.mark.parametrize("frequency", [250.0, 995.0, 1000.0, 1012.3])
@pytest.mark.parametrize("rate", [44100, 48000, 96000])
def test_level_and_frequency_of_a_tone(frequency, rate):
    found = calibrator_tone(tone(frequency, -26.0, rate=rate), rate, "cal.wav")
    assert found.frequency == pytest.approx(frequency, abs=0.1)
    assert found.level_dbfs == pytest.approx(-26.0, abs=0.005)
    assert found.spread_db < 0.01
    assert found.seconds == pytest.approx(5.0, abs=0.11)


def test_a_full_scale_sine_reads_nought():
    """AES17 (from memory): a sine that fills the format is 0 dB FS; pyfar's rms of it -3.0103."""
    x = tone(level=-0.001)
    assert calibrator_tone(x, RATE, "a").level_dbfs == pytest.approx(0.0, abs=0.005)
    rms = pyfar.dsp.rms(pyfar.Signal(x, RATE))
    assert 20 * math.log10(float(rms[0])) == pytest.approx(-3.0113, abs=1e-3)


def test_a_calibrator_of_114_db_means_20_db_more():
    found = calibrator_tone(tone(level=-6.0), RATE, "a")
    assert found.sensitivity(114.0) == pytest.approx(-26.0, abs=0.005)
    assert found.sensitivity(94.0) == pytest.approx(-6.0, abs=0.005)


def test_handling_before_and_after_is_passed_over():
    rng = np.random.default_rng(1)
    knocks = 0.3 * rng.standard_normal(RATE) * np.exp(-np.linspace(0, 20, RATE))
    quiet = 1e-4 * rng.standard_normal(RATE)
    x = np.concatenate((knocks, tone(), knocks[::-1], quiet))
    found = calibrator_tone(x + 1e-4 * rng.standard_normal(x.size), RATE, "a")
    assert found.level_dbfs == pytest.approx(-26.0, abs=0.02)
    assert 4.5 < found.seconds < 5.5


@pytest.mark.parametrize(
    ("samples", "words"),
    [
        (tone(440.0), "strongest at 440 Hz"),
        (tone(seconds=0.5), "at least 1 s"),
        (np.zeros(2 * RATE), "silence"),
        (np.random.default_rng(0).standard_normal(2 * RATE) * 0.1, "a calibrator's 250 Hz or 1"),
        (tone() + 0.012 * np.random.default_rng(0).standard_normal(5 * RATE), "over noise"),
        (np.clip(tone(level=1.0), -1, 1), "clipped"),
        (tone() * np.geomspace(1, 10, 5 * RATE), "steady"),
        (np.concatenate((tone(), tone(level=-46.0))), "two steady levels, -26.0 and -46.0 dBFS"),
        (np.concatenate((tone(level=-32.0, seconds=1.0), tone())), "-26.0 and -32.0"),
    ],
)
def test_what_is_no_calibrator_is_refused(samples, words):
    with pytest.raises(CurveError, match=words):
        calibrator_tone(samples, RATE, "cal.wav")


def test_sensitivity_from_volts():
    """1 Pa rms is 93.9794 dB SPL, so 94 dB is 1.00237 Pa; its peak is the root of two higher.

    10 mV/Pa into a recorder that is full at a peak of 1 V: 20 lg(0.010 * 1.00237 * 1.41421).
    """
    assert sensitivity_from_volts(10, 1) == pytest.approx(-40 + 0.0206 + 3.0103, abs=1e-4)
    assert sensitivity_from_volts(1000 / 1.0023745 / math.sqrt(2), 1) == pytest.approx(0, abs=1e-6)
    for bad in ((0, 1), (10, -1), (math.nan, 1)):
        with pytest.raises(CurveError, match="a positive number"):
            sensitivity_from_volts(*bad)


def test_stated_conditions():
    """Twice the voltage is 6.0206 dB more, twice the distance 6.0206 dB less."""
    assert condition_db(Options()) == (0.0, [])
    shift, notes = condition_db(Options(drive_volts=1.415, distance_m=0.5))
    assert shift == pytest.approx(0.0, abs=1e-9)
    assert len(notes) == 2
    assert condition_db(Options(drive_volts=2.83))[0] == 0.0
    assert condition_db(Options(distance_m=0.1))[0] == pytest.approx(-20.0)


def recording(sweep, pascal_per_volt, drive_volts, full_scale_pascal, before=0.1):
    """A flat driver: the sine's rms pressure is the sensitivity times the rms voltage."""
    x = generate(sweep, RATE) / sweep.amplitude
    pressure = pascal_per_volt * drive_volts * math.sqrt(2) * x
    y = np.concatenate((np.zeros(round(before * RATE)), pressure, np.zeros(RATE // 2)))
    return y / full_scale_pascal


@pytest.mark.parametrize("amplitude", [1.0, 0.25])
def test_a_sweep_recording_becomes_sound_pressure(known, amplitude):
    """A driver of 0.1 Pa/V at 0.5 m, driven by 2 V: 0.2 Pa are 80 dB SPL exactly.

    For 2.83 V and 1 m: + 20 lg(2.83/2) - 20 lg 2. The file's own level does not matter.
    """
    sweep = Sweep(20, 20000, 2, "exponential", amplitude)
    full = 20.0  # Pa peak
    raw = known.wav(recording(sweep, 0.1, 2.0, full), RATE)
    reads = 20 * math.log10(20e-6 * 10 ** (94 / 20) * math.sqrt(2) / full)
    options = Options(sweep=sweep, sensitivity_dbfs=reads, band=(100, 10000))
    heard = listen(raw, options=options)
    assert heard.metrics["level_db"].value == pytest.approx(80.0, abs=0.02)
    assert any("dB re 20 µPa" in note for note in heard.notes)
    assert not any("relative to a gain" in note for note in heard.notes)
    heard = listen(raw, options=options.with_values({"drive_volts": 2.0, "distance_m": 0.5}))
    expected = 80 + 20 * math.log10(2.83 / 2) - 20 * math.log10(2)
    assert heard.metrics["level_db"].value == pytest.approx(expected, abs=0.02)


def test_the_calibrators_own_recording_closes_the_loop(known):
    """The tone of 94 dB and the sweep go through the same unknown gain."""
    gain = 0.037
    peak = 20e-6 * 10 ** (94 / 20) * math.sqrt(2)
    found = calibrator_tone(tone(level=20 * math.log10(gain * peak)), RATE, "cal.wav")
    sweep = Sweep(20, 20000, 2, "exponential", 0.25)
    raw = known.wav(gain * recording(sweep, 0.1, 2.0, 1.0), RATE)
    heard = listen(raw, options=Options(sweep=sweep, sensitivity_dbfs=found.sensitivity(94)))
    assert heard.metrics["level_db"].value == pytest.approx(80.0, abs=0.05)


def test_with_a_loopback_channel_the_level_is_the_same(known):
    """The loopback's own gain cancels."""
    sweep = Sweep(20, 20000, 2, "exponential", 0.25)
    y = recording(sweep, 0.1, 2.0, 20.0)
    beside = np.zeros(y.size)
    beside[RATE // 10 : RATE // 10 + 2 * RATE] = 0.3 * generate(sweep, RATE)
    raw = known.wav(np.stack([y, beside], axis=1), RATE)
    reads = 20 * math.log10(20e-6 * 10 ** (94 / 20) * math.sqrt(2) / 20.0)
    options = Options(sweep=sweep, loopback=2, sensitivity_dbfs=reads, band=(100, 10000))
    assert listen(raw, options=options).metrics["level_db"].value == pytest.approx(80, abs=0.05)


def test_without_a_sensitivity_levels_stay_relative(known):
    sweep = Sweep(20, 20000, 2, "exponential", 0.25)
    raw = known.wav(recording(sweep, 0.1, 2.0, 20.0), RATE)
    heard = listen(raw, options=Options(sweep=sweep, drive_volts=2.0))
    assert any("were not used" in note for note in heard.notes)
    assert any("relative to a gain of 1" in note for note in heard.notes)


def test_a_sensitivity_over_full_scale_is_told(known):
    sweep = Sweep(20, 20000, 2, "exponential", 0.25)
    raw = known.wav(recording(sweep, 0.1, 2.0, 20.0), RATE)
    for reads, told in ((5.0, True), (-5.0, False)):
        heard = listen(raw, options=Options(sweep=sweep, sensitivity_dbfs=reads))
        assert ("over_full_scale" in [item.code for item in heard.warnings]) == told


def test_a_response_file_is_stated_for_the_condition():
    """A file of sound pressure levels shifts by 20 lg(2.83/1) + 20 lg 0.5 = 3.0152 dB."""
    flat = Response([100, 1000, 10000], [80, 80, 80], noise_db=[20, 20, 20])
    heard = measure(flat, Options(drive_volts=1.0, distance_m=0.5))
    expected = 80 + 20 * math.log10(2.83) - 20 * math.log10(2)
    assert heard.metrics["level_db"].value == pytest.approx(expected)
    assert heard.curves["response"].noise_db[0] == pytest.approx(expected - 60)
    assert heard.metrics["deviation_db"].value == pytest.approx(0.0)
    assert absolute(flat, 1.0, Options()) == (flat, [])


def test_what_was_not_used_is_said(known):
    flat = Response([100, 1000, 10000], [80, 80, 80])
    heard = measure(flat, Options(sensitivity_dbfs=-20.0))
    assert heard.metrics["level_db"].value == pytest.approx(80)
    assert "not used for this kind of file: sensitivity" in heard.notes
    impulse = listen(known.wav(known.mode(700, 9)), options=Options(drive_volts=1, distance_m=2))
    assert "not used for this kind of file: drive, distance" in impulse.notes
