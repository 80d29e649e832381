"""The invented test platform: how each print, mounting and sitting departs from the truth.

Every number of chance is drawn as a uniform number and turned into a normal one by the inverse
of the normal distribution, so that the demo comes out the same under any release of numpy: the
uniform stream of PCG64 is fixed, the one of ``Generator.normal`` is not promised.

Three layers of departure, all multiplicative except levels:

- the *print* (`print_spread`, once a cone): modulus 3 %, wall 1.5 %, loss 4 %, radiating shares
  5 %, suspension 3 % (standard deviations);
- the *session* (`session_rig`, once a sitting): level 0.4 dB, tilt 0.35 dB a decade, room 1.5 to
  5 K off, a latency;
- the *mounting* (`observe`, every time): level 0.1 dB, a slow ripple of 0.12 dB, each harmonic
  3 %, and noise: 32 dB under each point of the response, 0.015 % under each harmonic, -72 dB of
  the peak under the impulse.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtri

from demo_trials.physics import Cone, Spread, harmonics, impulse, pressure

__all__ = [
    "DISTORTION_GRID",
    "FULL_SCALE",
    "RATE",
    "RESPONSE_GRID",
    "SAMPLES",
    "Rig",
    "Traces",
    "clean",
    "normal",
    "observe",
    "print_spread",
    "session_rig",
    "stream",
]

Floats = npt.NDArray[np.float64]

RATE = 48000
"""Sampling rate of the impulse files, Hz."""

RESPONSE_GRID: Floats = 1000.0 * 2.0 ** (np.arange(-224, 208) / 48.0)
"""39.4 Hz to 19.9 kHz in 1/48 octave."""

DISTORTION_GRID: Floats = 1000.0 * 2.0 ** (np.arange(-80, 65) / 24.0)
"""99 Hz to 6.35 kHz in 1/24 octave."""

SAMPLES = 4800
"""Length of the impulse files: 0.1 s."""

FULL_SCALE = 0.5
"""Pressure at full scale of the impulse files, Pa for a unit sample."""

_NOISE_LEVEL = 32.0  # dB re 20 uPa under each point of the response
_NOISE_PERCENT = 0.015  # under each harmonic
_SEATING = 0.03  # relative change of each harmonic with how the cone sits
_NOISE_IMPULSE = -72.0  # dB of the peak
_RESIDUAL_DELAY = 20e-6  # s that the platform's clock leaves in the phase


@dataclass(frozen=True)
class Rig:
    """One sitting at the platform.

    Parameters
    ----------
    level : float
        Gain error, dB.
    tilt : float
        dB a decade around 1 kHz.
    warmer : float
        Kelvin above 21 degrees Celsius.
    latency : int
        Samples before the impulse starts.
    """

    level: float = 0.0
    tilt: float = 0.0
    warmer: float = 0.0
    latency: int = 0


@dataclass(frozen=True)
class Traces:
    """What one measurement gives.

    Parameters
    ----------
    level, phase : ndarray, shape (432,)
        dB re 20 uPa and degrees on `RESPONSE_GRID`.
    fundamental : ndarray, shape (145,)
        dB re 20 uPa on `DISTORTION_GRID`.
    percent : ndarray, shape (4, 145)
        Harmonics 2 to 5, percent of the fundamental; NaN above the bandwidth.
    samples : ndarray, shape (4800,)
        Impulse response, 1 for full scale.
    """

    level: Floats
    phase: Floats
    fundamental: Floats
    percent: Floats
    samples: Floats


@dataclass(frozen=True)
class _Colour:
    """Gain over frequency of one mounting: level, tilt and a slow ripple."""

    level: float
    tilt: float
    ripple: Floats
    turn: Floats

    @classmethod
    def draw(cls, rig: Rig, rng: np.random.Generator) -> _Colour:
        level = rig.level + 0.1 * float(normal(rng, 1)[0])
        return cls(level, rig.tilt, 0.12 * normal(rng, 3), 2.0 * np.pi * rng.random(3))

    def __call__(self, frequency: Floats) -> Floats:
        decades = np.log10(np.maximum(frequency, 20.0) / 1000.0)
        angle = np.multiply.outer((3.0, 6.0, 9.0), decades) + self.turn[:, None]
        decibel = self.level + self.tilt * decades + self.ripple @ np.cos(angle)
        return np.asarray(10.0 ** (decibel / 20.0))


def stream(*keys: int) -> np.random.Generator:
    """Give a source of chance that depends on the keys alone."""
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence(keys)))


def normal(rng: np.random.Generator, *shape: int) -> Floats:
    """Draw standard normal numbers from uniform ones."""
    return np.asarray(ndtri(np.clip(rng.random(shape), 1e-12, 1.0 - 1e-12)))


def print_spread(rng: np.random.Generator) -> Spread:
    """Draw how one print departs from its recipe."""
    sizes = np.array([0.03, 0.015, 0.04, 0.05, 0.03])
    return Spread(*(float(factor) for factor in np.exp(sizes * normal(rng, 5))))


def session_rig(rng: np.random.Generator) -> Rig:
    """Draw one sitting."""
    level, tilt = normal(rng, 2)
    return Rig(
        level=0.4 * float(level),
        tilt=0.35 * float(tilt),
        warmer=1.5 + 3.5 * float(rng.random()),
        latency=200 + int(120 * rng.random()),
    )


def clean(cone: Cone) -> Traces:
    """Give the traces of a perfect platform: no drift, no noise."""
    response = pressure(cone, RESPONSE_GRID)
    return Traces(
        level=_decibel(response),
        phase=np.degrees(np.angle(response)),
        fundamental=_decibel(pressure(cone, DISTORTION_GRID)),
        percent=harmonics(cone, DISTORTION_GRID),
        samples=np.roll(impulse(cone, RATE, SAMPLES), 240) / FULL_SCALE,
    )


def observe(cone: Cone, rig: Rig, rng: np.random.Generator) -> Traces:
    """Measure a mounted cone once.

    Parameters
    ----------
    cone : Cone
        The cone, built at the session's temperature.
    rig : Rig
        The sitting.
    rng : numpy.random.Generator
        Chance of this mounting.
    """
    colour = _Colour.draw(rig, rng)
    floor = 20e-6 * 10.0 ** (_NOISE_LEVEL / 20.0) / np.sqrt(2.0)
    real, imaginary = floor * normal(rng, 2, RESPONSE_GRID.size)
    delay = np.exp(-2j * np.pi * RESPONSE_GRID * _RESIDUAL_DELAY)
    response = (pressure(cone, RESPONSE_GRID) * delay) * colour(RESPONSE_GRID)
    response = response + real + 1j * imaginary
    percent = harmonics(cone, DISTORTION_GRID)
    percent = percent * np.exp(_SEATING * normal(rng, 4, 1))
    hiss = _NOISE_PERCENT * np.hypot(*normal(rng, 2, *percent.shape))
    fundamental = pressure(cone, DISTORTION_GRID) * colour(DISTORTION_GRID)
    return Traces(
        level=_decibel(response),
        phase=np.degrees(np.angle(response)),
        fundamental=_decibel(fundamental),
        percent=np.hypot(percent, hiss),
        samples=_record(cone, rig, colour, rng),
    )


def _record(cone: Cone, rig: Rig, colour: _Colour, rng: np.random.Generator) -> Floats:
    """Impulse response as recorded: coloured, late, noisy."""
    spectrum = np.fft.rfft(impulse(cone, RATE, SAMPLES))
    hertz: Floats = np.fft.rfftfreq(SAMPLES, 1.0 / RATE).astype(np.float64)
    spectrum = spectrum * colour(hertz)
    samples = np.roll(np.fft.irfft(spectrum, SAMPLES), rig.latency) / FULL_SCALE
    noise = np.max(np.abs(samples)) * 10.0 ** (_NOISE_IMPULSE / 20.0)
    return np.asarray(samples + noise * normal(rng, SAMPLES))


def _decibel(response: npt.NDArray[np.complex128]) -> Floats:
    return np.asarray(20.0 * np.log10(np.abs(response) / 20e-6))
