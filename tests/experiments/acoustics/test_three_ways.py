"""One invented cone heard in three ways: as a curve, an impulse response and a sweep recording.

The cones are digital filters with a known transfer function and known poles, so that the truth is
computed, not measured. `-s` prints the errors.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.signal import bilinear, freqz, lfilter

from experiments.acoustics import Options, Sweep, listen
from experiments.acoustics.bands import G
from experiments.acoustics.stimulus import generate

RATE = 96000
BAND = (200.0, 3000.0)


class Cone:
    """A high-pass, a roll-off, and a break-up mode on top of a flat response."""

    def __init__(self, seed):
        rng = np.random.default_rng(seed)
        low, high = rng.uniform(70, 140), rng.uniform(9000, 13000)
        mode, q = rng.uniform(3500, 8000), rng.uniform(5, 25)
        self.sections = [
            self._section(1, 0, 0, low, rng.uniform(0.6, 1.3)),
            self._section(0, 0, 1, high, 0.6),
            self._section(1, 1 + rng.uniform(0.4, 1.2) * q * 0.3, 1, mode, q),
        ]
        pole = np.log(np.roots(self.sections[2][1])[0]) * RATE
        self.breakup_hz = abs(pole) / (2 * math.pi)
        self.breakup_q = -abs(pole) / (2 * pole.real)

    @staticmethod
    def _section(b2, b1, b0, frequency, q):
        w = 2 * math.pi * frequency
        return bilinear([b2 / w**2, b1 / (q * w), b0], [1 / w**2, 1 / (q * w), 1], RATE)

    def __call__(self, x):
        for b, a in self.sections:
            x = lfilter(b, a, x)
        return x

    def level(self, f):
        return sum(20 * np.log10(np.abs(freqz(b, a, f, fs=RATE)[1])) for b, a in self.sections)

    def truth(self):
        f = np.geomspace(20, 24000, 60001)
        level = self.level(f)
        inside = (f >= BAND[0]) & (f <= BAND[1])
        x, power = np.log(f), 10 ** (level / 10)
        total = np.concatenate(([0.0], np.cumsum((power[1:] + power[:-1]) / 2 * np.diff(x))))
        starts = x[(x >= np.log(BAND[0])) & (x <= np.log(BAND[1] / G))]
        octave = np.interp(starts + np.log(G), x, total) - np.interp(starts, x, total)
        line = 10 * np.log10(np.max(octave) / np.log(G)) - 10
        return {
            "level_db": 10 * np.log10(np.mean(power[inside])),
            "deviation_db": np.ptp(level[inside]) / 2,
            "deviation_sd_db": np.std(level[inside]),
            "lower_limit_hz": f[f < 1000][level[f < 1000] < line][-1],
            "upper_limit_hz": f[f > 1000][np.argmax(level[f > 1000] < line)],
            "breakup_hz": self.breakup_hz,
            "breakup_q": self.breakup_q,
        }


def as_curve(cone, known, rng):
    f = np.geomspace(20, 24000, 480)
    return known.response_text(f, cone.level(f), digits=2).encode(), Options(band=BAND), 1.0


def as_impulse(cone, known, rng):
    x = np.zeros(RATE // 2)
    x[200] = 1.0
    h = cone(x)
    gain = 0.9 / np.max(np.abs(h))
    raw = known.wav(gain * h + 1e-5 * rng.standard_normal(h.size), RATE, "PCM_24")
    return raw, Options(band=BAND), gain


def as_sweep(cone, known, rng):
    x = 0.1 * generate(Sweep(20, 24000, 4, "exponential"), RATE)
    x = np.concatenate((np.zeros(3000), x, np.zeros(RATE // 2)))
    y = cone(x + 0.08 * x**2) + 1e-5 * rng.standard_normal(x.size)
    options = Options(band=BAND, sweep=Sweep(20, 24000, 4, None, 0.1))
    return known.wav(y, RATE, "PCM_24"), options, 1.0


TARGETS = {  # the largest error allowed: dB, or a share
    "level_db": 0.05, "deviation_db": 0.1, "deviation_sd_db": 0.1,
    "lower_limit_hz": 0.01, "upper_limit_hz": 0.01, "breakup_hz": 0.01, "breakup_q": 0.12,
}  # fmt: skip


def compare(seed, way, known):
    cone = Cone(seed)
    raw, options, gain = way(cone, known, np.random.default_rng(seed))
    heard = listen(raw, options=options)
    for name, truth in cone.truth().items():
        value = heard.metrics[name].value
        assert value is not None, name
        if name == "level_db":
            value -= 20 * math.log10(gain)
        error = value - truth if name.endswith("_db") else math.log(value / truth)
        print(f"{way.__name__} cone {seed} {name}: {value:.5g}, error {error:+.2g}")
        assert abs(error) < TARGETS[name], name


@pytest.mark.parametrize("way", [as_curve, as_impulse, as_sweep])
@pytest.mark.parametrize("seed", range(3))
def test_three_ways_give_the_truth(seed, way, known):
    compare(seed, way, known)


@pytest.mark.slow
@pytest.mark.parametrize("way", [as_curve, as_impulse, as_sweep])
@pytest.mark.parametrize("seed", range(3, 30))
def test_three_ways_at_length(seed, way, known):
    compare(seed, way, known)
