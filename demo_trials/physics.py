"""The invented cone as a mechanical model: what the test platform would hear of a recipe.

A 65 mm driver, piston radius a = 26 mm, one cone glued to one motor. SI units inside.

Mass
    cone = (A + A_ribs) rho h + A n_coats m_coat; moving mass m = cone + 2.1 g of coil, half the
    suspension and air load.
Fundamental
    f0 = sqrt(k / m) / 2 pi and Q0 = 0.8 sqrt(m / 4.2 g): a second-order high-pass, so that
    |H(f0)| = Q0. Well above f0 the pressure goes with 1 / m.
Break-up
    Plate modes f_i = lambda_i^2 / (2 pi a^2) sqrt(S D / mu) with D = E h^3 / 12 (1 - nu^2) and mu
    the mass per area; lambda_i^2 of the clamped circular plate (Leissa, NASA SP-160, Table 2.1,
    from memory). S = s (1 + c_ribs + (h_s / h)^2) makes a shell of the flat plate: the bending
    part goes with h^3, the membrane part with h, as for shallow shells, whose squared
    frequencies add (Reissner 1946, from memory). Loss eta = material + edge + coats, Q = 1 / eta.
Pressure
    p = G HP(f0, Q0) M LP1(coil) LP2(neck), M = 1 + sum b_i s^2 / (s^2 + s w_i / Q + w_i^2).
    M is a modal sum of acceleration per force (any textbook of vibration), b_i the radiating
    share of mode i, larger for coarse layers and for light that bled past the layer; LP1 is the
    coil's inductance, LP2 the neck, whose compliance lets go of the cone above 1.9 f_1.
Distortion
    Relative to the fundamental, harmonic k = 2..5 at the fundamental f:
    HDk = |p(k f) / p(f)| sqrt((A_k x^(k-1))^2 + (B_k u^(k-1))^2). x is the excursion (LP2 at
    f0, scaled by 1 / m) and belongs to the suspension, the same in every cone. u is the cone's
    strain, (4 kHz / f_1)^2 times the amplification at f_1, compressed as u / (1 + u / 1.2);
    B_k grows with the material's softness (even k) or looseness and cracks (odd k). It peaks
    near f0 and where k f meets a mode: at f_1 / k.
Decay
    The impulse response is the inverse Fourier transform of p, tapered to nothing between 20
    and 23.5 kHz as by a recorder's filter.

Simplified, so no guide to real drivers: plate ratios for a cone's modes, one S for all modes, no
directivity, diffraction or room, no heating of the coil, distortion as a static law, a profile
that only changes constants.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from demo_trials.materials import RESINS, Material, bond, conversion, cure_depth, material

__all__ = [
    "LEISSA",
    "NOMINAL",
    "Cone",
    "Spread",
    "build",
    "harmonics",
    "impulse",
    "modal_sum",
    "pressure",
    "print_chance",
    "prints",
    "second_order",
    "weakness",
]

Settings = Mapping[str, Any]
Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]

LEISSA: Floats = np.array([10.2158, 21.2604, 34.8770, 39.7711])
"""lambda^2 of the clamped circular plate's four lowest modes."""

_RADIUS = 0.026
_POISSON = 0.35
_STIFFNESS = 2400.0  # N/m, suspension
_DRY_MASS = 2.1e-3  # kg, all that moves except the cone
_MASS_REFERENCE = 4.2e-3  # kg
_LEVEL = 83.0  # dB re 20 uPa in the midband at the reference mass
_COIL = 9000.0  # Hz
_NECK = 1.9  # in units of the first mode
_COAT = 0.06  # kg/m2 and coat of damping lacquer
_RIB = 2.5e-5  # m2 of wall that one rib is worth
_EDGE_LOSS = 0.03


@dataclass(frozen=True)
class _Profile:
    """Constants of one profile: area, S = s (1 + ... + (h_s / h)^2), radiating shares."""

    area: float
    shape: float
    shell: float
    shares: tuple[float, float, float, float]


_PROFILES = {
    "straight": _Profile(2.45e-3, 7.8, 0.92e-3, (0.125, -0.05, 0.04, -0.09)),
    "curved": _Profile(2.60e-3, 7.8, 1.02e-3, (0.11, -0.065, 0.055, -0.08)),
    "ribbed": _Profile(2.45e-3, 7.6, 0.80e-3, (0.12, -0.03, 0.03, -0.10)),
}


@dataclass(frozen=True)
class Spread:
    """How one print departs from its recipe: factors around 1."""

    modulus: float = 1.0
    thickness: float = 1.0
    loss: float = 1.0
    shares: float = 1.0
    suspension: float = 1.0


NOMINAL = Spread()
"""The print that the recipe means."""


@dataclass(frozen=True)
class Cone:
    """One cone on the motor, as far as the ear is concerned.

    Parameters
    ----------
    mass : float
        Mass of the cone alone, kg.
    moving : float
        Moving mass, kg.
    resonance, resonance_q : float
        Fundamental resonance in Hz and its Q.
    modes : ndarray, shape (4,)
        Break-up frequencies, Hz.
    mode_q : float
        Q of the break-up modes.
    shares : ndarray, shape (4,)
        Radiating share of each mode.
    material : Material
        What it is made of.
    """

    mass: float
    moving: float
    resonance: float
    resonance_q: float
    modes: Floats
    mode_q: float
    shares: Floats
    material: Material


def build(
    settings: Settings, spread: Spread = NOMINAL, *, light_hours: float = 0.0, warmer: float = 0.0
) -> Cone:
    """Build the cone that a recipe gives.

    Parameters
    ----------
    settings : mapping
        A recipe: the active variables of ``experiment.toml``.
    spread : Spread
        How this print departs from it.
    light_hours : float
        Hours of daylight since it was printed.
    warmer : float
        Kelvin above 21 degrees Celsius: each takes 0.4 % of the modulus and adds 1 % of loss.
    """
    made = material(settings, light_hours)
    profile = _PROFILES[settings["profile"]]
    ribs, coats = settings.get("ribs", 0), settings["coats"]
    wall = settings["wall_thickness"] * 1e-3 * spread.thickness
    mass = (
        profile.area * (made.density * wall + _COAT * coats) + ribs * 2.5e-5 * made.density * wall
    )
    shape = profile.shape * (1.0 + 2.4 * ribs / (ribs + 12.0) + (profile.shell / wall) ** 2)
    modulus = made.modulus * spread.modulus * (1.0 - 0.004 * warmer)
    rigidity = shape * modulus * wall**3 / (12.0 * (1.0 - _POISSON**2))
    coat_loss = 0.05 * (1.0 - math.exp(-coats / 1.6)) * 0.8e-3 / wall
    loss = _EDGE_LOSS + (made.loss + coat_loss) * spread.loss * (1.0 + 0.01 * warmer)
    moving = mass + _DRY_MASS
    return Cone(
        mass=mass,
        moving=moving,
        resonance=math.sqrt(_STIFFNESS * spread.suspension / moving) / (2.0 * math.pi),
        resonance_q=0.8 * math.sqrt(moving / _MASS_REFERENCE),
        modes=LEISSA / (2.0 * math.pi * _RADIUS**2) * math.sqrt(rigidity * profile.area / mass),
        mode_q=1.0 / loss,
        shares=_shares(settings, profile) * spread.shares,
        material=made,
    )


def _shares(settings: Settings, profile: _Profile) -> Floats:
    """Radiating shares: coarse layers, bled light and ribs excite more break-up."""
    bled = 0.2
    if settings["process"] == "resin":
        bled = 1.4 * cure_depth(RESINS[settings["resin"]], settings["exposure"])
    shares = np.array(profile.shares)
    shares[1] *= 1.0 + 0.10 * settings.get("ribs", 0)
    return np.asarray(shares * (1.0 + 2.5 * (settings["layer_height"] - 0.05) + bled))


def second_order(
    frequency: npt.ArrayLike, corner: float, q: float, *, high: bool = False
) -> Complexes:
    """Second-order low-pass, or high-pass, with unit passband gain.

    Parameters
    ----------
    frequency : array_like
        Hz.
    corner : float
        Natural frequency, Hz; the magnitude there is `q`.
    q : float
        Quality factor.
    high : bool
        High-pass instead of low-pass.
    """
    s = 1j * np.asarray(frequency, dtype=np.float64) / corner
    return np.asarray((s * s if high else 1.0) / (s * s + s / q + 1.0), dtype=np.complex128)


def modal_sum(cone: Cone, frequency: npt.ArrayLike) -> Complexes:
    """Radiated acceleration over that of a rigid piston, shape of `frequency` (Hz)."""
    total = np.ones(np.shape(frequency), dtype=np.complex128)
    for mode, share in zip(cone.modes, cone.shares, strict=True):
        total += share * second_order(frequency, mode, cone.mode_q, high=True)
    return total


def pressure(cone: Cone, frequency: npt.ArrayLike) -> Complexes:
    """Complex sound pressure in Pa at the platform's drive and distance.

    Parameters
    ----------
    cone : Cone
        The cone.
    frequency : array_like
        Hz.
    """
    hertz = np.asarray(frequency, dtype=np.float64)
    gain = 20e-6 * 10.0 ** (_LEVEL / 20.0) * _MASS_REFERENCE / cone.moving
    piston = second_order(hertz, cone.resonance, cone.resonance_q, high=True)
    neck = second_order(hertz, _NECK * cone.modes[0], 0.9)
    return np.asarray(gain * piston * modal_sum(cone, hertz) * neck / (1.0 + 1j * hertz / _COIL))


def harmonics(cone: Cone, frequency: npt.ArrayLike) -> Floats:
    """Harmonics 2 to 5 relative to the fundamental.

    Parameters
    ----------
    cone : Cone
        The cone.
    frequency : array_like, shape (n,)
        Frequency of the fundamental, Hz.

    Returns
    -------
    ndarray, shape (4, n)
        Percent; NaN where the harmonic lies above 20 kHz.
    """
    hertz = np.asarray(frequency, dtype=np.float64)
    first = cone.modes[0]
    excursion = np.abs(second_order(hertz, cone.resonance, cone.resonance_q))
    excursion *= _MASS_REFERENCE / cone.moving
    strain = (4000.0 / first) ** 2 * np.abs(second_order(hertz, first, cone.mode_q))
    strain = strain / (1.0 + strain / 1.2)
    even, odd = cone.material.even, cone.material.odd
    own = (0.011 * even, 0.010 * odd, 0.004 * even**2, 0.003 * odd)
    fundamental = np.abs(pressure(cone, hertz))
    rows = []
    for order, rubber, cone_share in zip(
        (2, 3, 4, 5), (0.012, 0.006, 0.0012, 0.0008), own, strict=True
    ):
        source = np.hypot(rubber * excursion ** (order - 1), cone_share * strain ** (order - 1))
        heard = 100.0 * source * np.abs(pressure(cone, order * hertz)) / fundamental
        rows.append(np.where(order * hertz <= 20000.0, heard, np.nan))
    return np.stack(rows)


def impulse(cone: Cone, rate: int = 48000, samples: int = 4800) -> Floats:
    """Impulse response that starts at sample 0, in Pa per unit impulse.

    Parameters
    ----------
    cone : Cone
        The cone.
    rate : int
        Samples a second.
    samples : int
        Length.
    """
    hertz = np.fft.rfftfreq(samples, 1.0 / rate)
    taper = np.cos(np.pi / 2.0 * np.clip((hertz - 20000.0) / 3500.0, 0.0, 1.0)) ** 2
    return np.asarray(np.fft.irfft(pressure(cone, hertz) * taper, samples))


def _margins(settings: Settings) -> dict[str, float]:
    """How far each way of failing is away, in its own widths: below 0 it is likely."""
    wall, layer = settings["wall_thickness"], settings["layer_height"]
    if settings["process"] == "filament":
        return {
            "layers came apart": (bond(settings) - 0.22) / 0.03,
            "wall sagged": (wall / layer - 3.6) / 0.25,
        }
    cured = cure_depth(RESINS[settings["resin"]], settings["exposure"]) / layer
    green = conversion({**settings, "cure_time": 0.0})
    return {
        "layers did not cure through": (cured - 1.2) / 0.06,
        "wall tore on peeling": (wall * green - 0.20) / 0.012,
    }


def print_chance(settings: Settings) -> float:
    """Probability that a recipe prints at all.

    Resin fails when the cure depth hardly passes the layer height or when the green wall is too
    weak to be peeled off; filament when the layers hardly bond or stand too tall in a thin wall.

    Parameters
    ----------
    settings : mapping
        A recipe.
    """
    chance = 1.0
    for margin in _margins(settings).values():
        chance /= 1.0 + math.exp(-min(max(margin, -50.0), 50.0))
    return chance


def weakness(settings: Settings) -> str:
    """Name the way in which a recipe is most likely to fail, in words."""
    margins = _margins(settings)
    return min(margins, key=margins.__getitem__)


def prints(settings: Settings, rng: np.random.Generator) -> bool:
    """Try to print a recipe once.

    Parameters
    ----------
    settings : mapping
        A recipe.
    rng : numpy.random.Generator
        Source of chance; one uniform number is drawn.
    """
    return bool(rng.random() < print_chance(settings))
