"""Simulated sweep recordings with their truth."""

from __future__ import annotations

import numpy as np
from scipy.signal import butter, freqz, lfilter

from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate

RATE = 48000
SWEEP = Sweep(20, 20000, 3, "exponential")


def recorded(sweep=SWEEP, *, before=0.05, after=0.6, noise=0.0, b=0.04, c=0.02, gain=0.5):
    """A sweep through a slightly bent, band-limited system, with its truth."""
    x = gain * generate(sweep, RATE)
    x = np.concatenate((np.zeros(int(before * RATE)), x, np.zeros(int(after * RATE))))
    y = x + b * x**2 + c * x**3
    num, den = butter(2, [90, 9000], "bandpass", fs=RATE)
    y = lfilter(num, den, y)
    return y + noise * np.random.default_rng(0).standard_normal(y.size), x, (num, den)


def truth(filters, f):
    return 20 * np.log10(np.abs(freqz(*filters, f, fs=RATE)[1]))
