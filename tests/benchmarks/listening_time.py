"""Seconds that `listen` takes beside pyfar's for the central step of the same work.

Run with ``python tests/benchmarks/listening_time.py``; prints a line a case and the ratio. Both
read what they work on from memory. pyfar only smooths or deconvolves; `listen` also reads the
file, checks it and computes every metric.
"""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyfar
import soundfile
from threadpoolctl import threadpool_limits

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from experiments.acoustics import Options, Sweep, listen
from experiments.acoustics.stimulus import generate

ROWS = 20_000
RATE = 96_000
SWEEP = Sweep(20.0, 20_000.0, 58.0, "exponential", 0.5)
TARGETS = {"text": 0.3, "sweep": 2.0}
REPEATS = 3


def seconds(act: Callable[[], object]) -> float:
    """Time an act several times; the least counts, since others only ever add."""
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        act()
        times.append(time.perf_counter() - start)
    return min(times)


def text() -> tuple[bytes, pyfar.Signal]:
    """Make a response of many rows with one mode, as text and as pyfar's signal."""
    f = np.linspace(0.0, 24_000.0, ROWS + 1)
    s = 1j * np.maximum(f, 1.0)
    h = s**2 / (s**2 + s * 110 + 90**2) * (1 + 0.3 * s / 4000 / (1 + s / 36e3 + (s / 4000) ** 2))
    level = 80 + 20 * np.log10(np.abs(h))
    rows = "\n".join(f"{a:.3f}\t{b:.3f}" for a, b in zip(f[1:], level[1:], strict=True))
    signal = pyfar.Signal(np.abs(h), 48_000, 2 * ROWS, "freq")
    return f"Hz\tdB\n{rows}\n".encode(), signal


def recording() -> tuple[bytes, pyfar.Signal, pyfar.Signal]:
    """Make a recording of one minute, as WAV and, with its excitation, as pyfar's signals."""
    played = np.concatenate((np.zeros(RATE // 20), generate(SWEEP, RATE)))
    played = np.concatenate((played, np.zeros(60 * RATE - played.size)))
    noise = 1e-5 * np.random.default_rng(0).standard_normal(played.size)
    heard = played + 0.05 * played**2 + noise
    file = io.BytesIO()
    soundfile.write(file, heard, RATE, format="WAV", subtype="PCM_24")
    return file.getvalue(), pyfar.Signal(heard, RATE), pyfar.Signal(played, RATE)


def divide(heard: pyfar.Signal, played: pyfar.Signal) -> object:
    """Deconvolve with pyfar, back to samples; the signals are copied, for pyfar keeps spectra."""
    inversion = pyfar.dsp.RegularizedSpectrumInversion
    inverse = inversion.from_frequency_range(played.copy(), (20, 20_000)).invert
    return (heard.copy() * inverse).time


def show(name: str, ours: float, theirs: float, what: str) -> None:
    """Print one line."""
    met = "met" if ours < TARGETS[name] else "missed"
    print(
        f"{name:6s} {ours:8.3f} {theirs:8.3f} {ours / theirs:7.2f}   {TARGETS[name]:g} s {met}"
        f"   ({what})"
    )


def main() -> None:
    """Time both cases on one thread."""
    print(f"least of {REPEATS} runs on one thread")
    print("case    listen    pyfar   ratio   target   what pyfar does")
    raw, curve = text()
    show(
        "text",
        seconds(lambda: listen(raw, name="a.txt")),
        seconds(lambda: pyfar.dsp.smooth_fractional_octave(curve, 24)),
        "1/24 octave smoothing of as many points",
    )
    wav, heard, played = recording()
    options = Options(sweep=SWEEP)
    show(
        "sweep",
        seconds(lambda: listen(wav, name="a.wav", options=options)),
        seconds(lambda: divide(heard, played)),
        "one deconvolution",
    )


if __name__ == "__main__":
    with threadpool_limits(1):
        main()
