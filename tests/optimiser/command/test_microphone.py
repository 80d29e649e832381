"""Calibrator and sensitivity on the command line of `listen`."""

from __future__ import annotations

import math

import numpy as np
import pytest
import soundfile

from optimiser.command.microphone import sensitivity_of

RATE = 48000


def write_tone(path, level, channels=1):
    t = np.arange(3 * RATE) / RATE
    x = 10 ** (level / 20) * np.sin(2 * np.pi * 1000 * t)
    soundfile.write(path, np.stack([x, *[0.1 * x] * (channels - 1)], axis=1), RATE, "PCM_24")
    return path


def test_a_recording_of_94_or_114_db(tmp_path):
    file = write_tone(tmp_path / "cal.wav", -20.0)
    assert sensitivity_of(str(file), None, None) == pytest.approx(-20.0, abs=0.01)
    assert sensitivity_of(f"{file}:114", None, None) == pytest.approx(-40.0, abs=0.01)
    stereo = write_tone(tmp_path / "stereo.wav", -20.0, channels=2)
    assert sensitivity_of(str(stereo), None, 2) == pytest.approx(-40.0, abs=0.01)


def test_numbers():
    assert sensitivity_of(None, None, None) is None
    assert sensitivity_of(None, "-26,5", None) == -26.5
    expected = 20 * math.log10(0.0125 * 20e-6 * 10 ** (94 / 20) * math.sqrt(2) / 1.5)
    assert sensitivity_of(None, "12.5:1.5", None) == pytest.approx(expected)


@pytest.mark.parametrize(
    "words",
    [
        ("--calibrator", "nothing.wav"),
        ("--calibrator", "nothing.wav:114"),
        ("--calibrator", "{tone}:1140"),
        ("--calibrator", "{tone}:loud"),
        ("--calibrator", "{text}"),
        ("--calibrator", "{tone}", "--sensitivity", "-20"),
        ("--sensitivity", "loud"),
        ("--sensitivity", "-200"),
        ("--sensitivity", "0:1"),
        ("--drive", "0"),
        ("--distance", "-1"),
    ],
)
def test_what_cannot_be_is_refused(run, tmp_path, response, words):
    tone = write_tone(tmp_path / "cal.wav", -20.0)
    filled = [word.format(tone=tone, text=response) for word in words]
    told = run("listen", response, *filled)
    assert told.status == 2
    assert told.err.startswith("error: ")
    assert len(told.err.splitlines()) <= 2


def test_levels_become_sound_pressure(run, tmp_path):
    """The excitation as its own recording: its sine of -20 dBFS is that of the calibrator."""
    tone = write_tone(tmp_path / "cal.wav", -20.0)
    file = tmp_path / "play.wav"
    run("sweep", file, "--seconds", 2, "--level", "-20")
    words = ("--band", "100:10000", "--calibrator", tone, "--drive", "2.83", "--distance", "2")
    told = run("listen", file, *words, "--json")
    assert told.status == 0
    assert "would read -20.00 dBFS" in told.err
    (entry,) = told.json["files"]
    # 94 dB, and 6.0206 dB for twice the distance.
    assert entry["metrics"]["level_db"]["value"] == pytest.approx(100.0206, abs=0.01)
    notes = " ".join(run("listen", file, *words).out.split())
    assert "levels are dB re 20 µPa" in notes
    assert "free and far field" in notes
