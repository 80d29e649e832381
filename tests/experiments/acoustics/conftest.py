"""Known systems and writers of files for the acoustic tests."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile


def _second_order(f, f0, q, power):
    """Low-pass (0), band-pass (1) or high-pass (2) of second order."""
    s = 1j * np.asarray(f) / f0
    return s**power / (s * s + s / q + 1)


def _cone(f):
    """An invented cone: high-pass at 90 Hz, roll-off at 9 kHz, a mode at 5 kHz with Q 8."""
    f = np.asarray(f, dtype=float)
    h = _second_order(f, 90.0, 0.8, 2) * _second_order(f, 9000.0, 0.7, 0)
    h = h * (1 + 1.2 * _second_order(f, 5000.0, 8.0, 1) / 8.0 * 2)
    return 84.0 + 20 * np.log10(np.abs(h))


def _response_text(f, level, *, delimiter=";", decimal=".", unit="Hz", digits=6, head=True):
    scale = 1000.0 if unit == "kHz" else 1.0
    rows = [
        delimiter.join(f"{value:.{digits}f}".replace(".", decimal) for value in (a / scale, b))
        for a, b in zip(f, level, strict=True)
    ]
    first = [f"Frequency ({unit}){delimiter}SPL (dB)"] if head else []
    return "\n".join([*first, *rows]) + "\n"


def _mode(f0, q, rate=48000, seconds=0.3, lead=400):
    t = np.arange(int(seconds * rate)) / rate
    h = np.exp(-np.pi * f0 * t / q) * np.sin(2 * np.pi * f0 * t)
    return np.concatenate((np.zeros(lead), h))


def _wav(samples, rate=48000, subtype="FLOAT", format="WAV"):
    file = io.BytesIO()
    soundfile.write(file, samples, rate, format=format, subtype=subtype)
    return file.getvalue()


class Known:
    """Functions that make known curves and files."""

    second_order = staticmethod(_second_order)
    cone = staticmethod(_cone)
    response_text = staticmethod(_response_text)
    mode = staticmethod(_mode)
    wav = staticmethod(_wav)

    @property
    def grid(self):
        return np.geomspace(20.0, 20000.0, 480)

    def __repr__(self):
        return "known"


@pytest.fixture(scope="session")
def known():
    return Known()
