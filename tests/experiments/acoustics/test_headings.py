from __future__ import annotations

import pytest

from experiments.acoustics.headings import Role, headings_of, role_of, sampling_rate


@pytest.mark.parametrize(
    ("heading", "role"),
    [
        ("Frequency (Hz)", Role("frequency", "hz")),
        ("Freq[kHz]", Role("frequency", "khz")),
        ("Hz", Role("frequency", "hz")),
        ("f", Role("frequency")),
        ("Fréquence", Role("frequency")),
        ("SPL (dB)", Role("level", "db")),
        ("dBSPL", Role("level", "db")),
        ("Pegel", Role("level")),
        ("Magnitude dB", Role("level", "db")),
        ("Phase (degrees)", Role("phase", "deg")),
        ("Phase [rad]", Role("phase", "rad")),
        ("°", Role("phase", "deg")),
        ("THD (%)", Role("thd", "%")),
        ("Total harmonic distortion [%]", Role("thd", "%")),
        ("Klirrfaktor %", Role("thd", "%")),
        ("HD2 %", Role("harmonic", "%", 2)),
        ("H3 (dB)", Role("harmonic", "db", 3)),
        ("2nd harmonic (%)", Role("harmonic", "%", 2)),
        ("Second harmonic", Role("harmonic", "", 2)),
        ("K5", Role("harmonic", "", 5)),
        ("4th", Role("harmonic", "", 4)),
        ("Fundamental (dB)", Role("fundamental", "db")),
        ("H1 (dB)", Role("fundamental", "db")),
        ("Noise floor (dB)", Role("noise", "db")),
        ("Time (s)", Role("time", "s")),
        ("t [ms]", Role("time", "ms")),
        ("ms", Role("time", "ms")),
        ("Time (µs)", Role("time", "us")),
        ("Amplitude", Role("amplitude")),
        ("Pressure (Pa)", Role("amplitude", "pa")),
        ("h(t)", Role("amplitude")),
        ("Impulse response", Role("amplitude")),
        ("%", Role("percent", "%")),
        ("Coherence", Role("coherence")),
        ("n", Role("index")),
        ("Operator", Role("other")),
        ("", Role("")),
    ],
)
def test_roles(heading, role):
    assert role_of(heading) == role


@pytest.mark.parametrize(
    ("lines", "columns", "delimiter", "expected"),
    [
        (["Hz;dB"], 2, ";", ["Hz", "dB"]),
        (["# Freq(Hz) SPL(dB) Phase(deg)"], 3, None, ["Freq(Hz)", "SPL(dB)", "Phase(deg)"]),
        (["Frequency [ Hz ]  Level [dB]"], 2, None, ["Frequency [ Hz ]", "Level [dB]"]),
        (["Freq (Hz) SPL (dB)"], 2, None, ["Freq(Hz)", "SPL(dB)"]),
        (["Frequency Hz Sound level dB"], 2, None, ["Frequency Hz", "Sound level dB"]),
        (["Frequency;Level", "Hz;dB"], 2, ";", ["Frequency Hz", "Level dB"]),
        (["a remark", "Hz;dB", "made today"], 2, ";", ["Hz", "dB"]),
        (["# sampling rate: 48000 Hz", "Amplitude"], 1, None, ["Amplitude"]),
        (["# sampling rate: 48000 Hz"], 1, None, [""]),
        (["Amplitude at fs = 48000 Hz"], 1, None, ["Amplitude at"]),
        (["Sample rate;48000"], 2, ";", ["", ""]),
        (["nothing to see"], 2, ";", ["", ""]),
        ([], 3, ",", ["", "", ""]),
    ],
)
def test_headings(lines, columns, delimiter, expected):
    assert headings_of(lines, columns, delimiter) == expected


@pytest.mark.parametrize(
    ("line", "rate"),
    [
        ("Sample rate: 48000 Hz", 48000.0),
        ("fs = 44.1 kHz", 44100.0),
        ("SamplingRate=96000", 96000.0),
        ("sampling frequency 48 kHz", 48000.0),
        ("dt = 2.5e-5 s", 40000.0),
        ("time step: 0.02 ms", 50000.0),
        ("sample interval 20 us", 50000.0),
        ("Abtastrate 48000", 48000.0),
        ("gain 12", None),
    ],
)
def test_sampling_rate(line, rate):
    found = sampling_rate(["title", line])
    assert found == (None if rate is None else pytest.approx(rate))
