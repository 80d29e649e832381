"""Harmonics lifted by a resonance: closed forms of a bent spring in front of a linear system."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import butter, lfilter

from experiments.acoustics import Distortion, Options, listen
from experiments.acoustics.evidence import harmonic_support
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate

F = 20 * 2 ** (np.arange(0, 9.5, 1 / 24))
MODE_HZ = 5000.0


def lifted(order, known, q=8.0):
    """Harmonic k of a bent motor through a mode: 1 % times |H(k f)| / |H(f)|."""

    def h(f):
        return np.abs(1 + 2 * known.second_order(f, MODE_HZ, q, 1))

    return h(order * F) / h(F)


@pytest.mark.parametrize(("order", "share"), [(2, "half"), (3, "a third")])
def test_a_lifted_harmonic_is_named(known, order, share):
    curve = Distortion(F, None, {order: lifted(order, known)})
    (note,) = harmonic_support(curve, MODE_HZ)
    assert note.startswith(f"distortion supports the break-up: HD{order} peaks at ")
    assert float(note.split("peaks at ")[1].split(" Hz")[0]) == pytest.approx(
        MODE_HZ / order, rel=0.03
    )
    assert f"{share} of 5000 Hz" in note


def test_a_peak_elsewhere_or_none_says_nothing(known):
    curve = Distortion(F, None, {2: lifted(2, known), 3: np.ones(F.size)})
    assert harmonic_support(curve, 1.15 * MODE_HZ) == []
    assert harmonic_support(Distortion(F, None, {4: lifted(2, known)}), MODE_HZ) == []
    assert harmonic_support(Distortion(F, np.ones(F.size)), MODE_HZ) == []


def test_a_peak_in_the_noise_says_nothing(known):
    percent = lifted(2, known)
    curve = Distortion(F, None, {2: percent}, noise=0.7 * percent)
    assert harmonic_support(curve, MODE_HZ) == []


def test_a_sweep_recording_names_its_own_evidence(known):
    """x + 0.05 x^2 in front of a mode at 3 kHz: its second harmonic peaks at 1.5 kHz."""
    rate = 48000
    w = 2 * np.pi * 3000 / rate
    r = np.exp(-w / 16)
    x = 0.5 * generate(Sweep(20, 20000, 3, "exponential"), rate)
    x = np.concatenate((np.zeros(2000), x, np.zeros(rate // 2)))
    y = lfilter(*butter(2, [60, 15000], "bandpass", fs=rate), x + 0.05 * x**2)
    y = y + 0.06 * lfilter([1, 0, -1], [1, -2 * r * np.cos(w), r * r], y)
    heard = listen(known.wav(y, rate), options=Options(sweep=Sweep(20, 20000, 3)))
    assert heard.metrics["breakup_hz"].value == pytest.approx(3000, rel=0.03)
    (note,) = (note for note in heard.notes if "supports the break-up" in note)
    assert "HD2 peaks at 1" in note
