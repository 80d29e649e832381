"""Raw files of one mounting as tests write them, and plans that ask for their metrics."""

from __future__ import annotations

import numpy as np
import soundfile
from scipy.signal import butter, sosfilt

VARIABLES = '[variables.wall]\nkind = "continuous"\nlow = 0.2\nhigh = 1.0\nstep = 0.1\n'
METRICS = """
name = "t"
[metrics.upper_limit]
from = "response"
unit = "kHz"
goal = "watch"
[metrics.upper_limit_6]
from = "response"
measure = "upper_limit"
drop_db = 6
goal = "maximise"
[metrics.thd_peak]
from = "distortion"
[metrics.decay]
from = "impulse"
unit = "s"
[metrics.mass]
from = "hand"
unit = "g"
[metrics.gloss]
from = "hand"
"""
PLAN = METRICS + VARIABLES

SWEEP_PLAN = (
    VARIABLES
    + """
[metrics.upper_limit]
from = "response"
[metrics.lower]
from = "sweep"
measure = "level"
band = [300, 3000]
goal = "watch"
[metrics.thd_peak]
from = "distortion"
band = [200, 2000]
goal = "minimise"
[metrics.decay]
from = "impulse"
goal = "watch"
[rig.files.sweep]
sweep = "50:20000:1"
"""
)

COMMAS = "".join(
    f"{f},000\t{85 - 10 * np.log10(1 + (f / 300) ** 8):.3f}\n".replace(".", ",")
    for f in range(20, 980, 2)
)
"""Every comma has three digits behind it: thousands or decimals?"""

STATED = PLAN + '[rig.files.response]\ndecimal = ","\ncolumns = ["frequency [Hz]", "level [dB]"]\n'


def write_response(path, corner=8000.0, order=4):
    """Butterworth low-pass: A(f) = 10 lg(1 + (f/fc)^(2n)); flat down to 20 Hz."""
    f = np.geomspace(20, 20000, 1200)
    level = 85 - 10 * np.log10(1 + (f / corner) ** (2 * order))
    lines = [
        "Frequency [Hz];SPL [dB]",
        *(f"{a:.6g};{b:.6g}" for a, b in zip(f, level, strict=True)),
    ]
    path.write_text("\n".join(lines))
    return path


def write_distortion(path):
    rows = ["Hz;THD %", "100;3.5", "200;2", "400;1.25", "800;1", "1600;0.5"]
    path.write_text("\n".join(rows))
    return path


def write_recording(path):
    """Exponential sweep (Farina 2000) through x + 0.02 x^2 and a low-pass at 8 kHz."""
    rate, length = 48000, 1 / np.log(20000 / 50)
    t = np.arange(rate) / rate
    sweep = 0.5 * np.sin(2 * np.pi * 50 * length * (np.exp(t / length) - 1))
    sweep = np.concatenate([np.zeros(2400), sweep, np.zeros(rate // 2)])
    sections = butter(4, 8000, fs=rate, output="sos")
    soundfile.write(path, sosfilt(sections, sweep + 0.02 * sweep**2), rate, subtype="FLOAT")
    return path
