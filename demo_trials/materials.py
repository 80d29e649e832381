"""What a recipe makes of the material: stiffness, inner damping, density, evenness.

Invented for the demo. The laws have the shape of textbook laws, every constant is made up, and
no real resin or filament is meant.

Resin
    One exposure t under a lamp of irradiance I gives the dose D = I t. Light fades with depth as
    exp(-z / Dp), so it hardens the resin down to the cure depth Cd = Dp ln(D / Ec): the working
    curve of stereolithography (Jacobs 1992, from memory). A layer of height L gets the mean dose
    D Dp / L (1 - exp(-L / Dp)). Conversion saturates:

        c = 1 - exp(-(mean dose / Dg + t_lamp / tau))

    with tau longer for thicker walls. Young's modulus rises as E = E_full (0.10 + 0.90 c^2), the
    loss factor falls as eta_full + (eta_green - eta_full) (1 - c). Over-curing,
    e = 1 - exp(-(t_lamp / 2.6 tau)^2), stiffens by at most 6 %, takes up to two thirds of the
    damping and brings micro-cracks. Hence the cure time has a best value in the middle. Daylight
    on a kept cone counts as a little lamp time.

Filament
    The bond between layers, w in 0..1, is a bell over the nozzle temperature (too cold: poor
    fusing; too hot: sagging) times a fall with layer height over line width. E = E_full (0.35 +
    0.65 w); poorly bonded lines rub, so the loss factor grows with 1 - w.

Simplified: one isotropic modulus a cone (a print is softer across its layers), no moisture, no
gradient of cure through the wall.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

__all__ = [
    "BEST_NOZZLE",
    "IRRADIANCE",
    "RESINS",
    "Material",
    "Resin",
    "bond",
    "brittleness",
    "conversion",
    "cure_depth",
    "material",
]

IRRADIANCE = 2.6
"""Irradiance of the invented printer's lamp, mW/cm2."""

BEST_NOZZLE = 216.0
"""Nozzle temperature at which the invented filament bonds best, degrees Celsius."""

_DAYLIGHT = 0.03  # minutes of lamp that one hour on the window sill is worth
_REFERENCE_WALL = 0.8  # mm; the wall for which a resin's lamp time constant is stated


@dataclass(frozen=True)
class Resin:
    """One invented resin.

    Parameters
    ----------
    modulus : float
        Young's modulus when fully cured, Pa.
    loss_full, loss_green : float
        Loss factor when fully cured, and when hardly cured.
    density : float
        kg/m3.
    depth : float
        Penetration depth of light Dp, mm.
    critical : float
        Dose at which it gels Ec, mJ/cm2.
    dose : float
        Dose constant of the conversion Dg, mJ/cm2.
    lamp : float
        Time constant tau under the curing lamp for a 0.8 mm wall, minutes.
    """

    modulus: float
    loss_full: float
    loss_green: float
    density: float
    depth: float
    critical: float
    dose: float
    lamp: float


RESINS: dict[str, Resin] = {
    "clear": Resin(2.5e9, 0.034, 0.17, 1160.0, 0.160, 2.3, 9.0, 10.0),
    "tough": Resin(1.9e9, 0.062, 0.20, 1120.0, 0.140, 2.5, 10.0, 13.0),
    "stiff": Resin(4.1e9, 0.022, 0.13, 1420.0, 0.120, 2.7, 8.5, 11.0),
}
"""The three invented resins, by the level's name in the plan."""


@dataclass(frozen=True)
class Material:
    """The printed material of one cone.

    Parameters
    ----------
    modulus : float
        Young's modulus, Pa.
    loss : float
        Loss factor.
    density : float
        kg/m3.
    even, odd : float
        How strongly the stiffness depends on strain and on its square, 1 for sound material:
        what the cone's own even and odd harmonics grow with.
    """

    modulus: float
    loss: float
    density: float
    even: float
    odd: float


def cure_depth(resin: Resin, exposure: float) -> float:
    """Depth in mm to which one exposure hardens the resin; 0 below the critical dose.

    Parameters
    ----------
    resin : Resin
        The resin.
    exposure : float
        Seconds a layer.
    """
    return max(0.0, resin.depth * math.log(IRRADIANCE * exposure / resin.critical))


def _lamp_times(settings: Mapping[str, Any], light_hours: float) -> float:
    """Lamp time in units of the time constant, which grows with the wall."""
    constant = RESINS[settings["resin"]].lamp
    constant *= 0.6 + 0.4 * settings["wall_thickness"] / _REFERENCE_WALL
    return float((settings["cure_time"] + _DAYLIGHT * light_hours) / constant)


def conversion(settings: Mapping[str, Any], light_hours: float = 0.0) -> float:
    """Share of the resin that has reacted, 0..1.

    Parameters
    ----------
    settings : mapping
        A recipe with the process ``resin``.
    light_hours : float
        Hours of daylight since.
    """
    resin = RESINS[settings["resin"]]
    depths = settings["layer_height"] / resin.depth
    mean_dose = IRRADIANCE * settings["exposure"] * (1.0 - math.exp(-depths)) / depths
    return 1.0 - math.exp(-mean_dose / resin.dose - _lamp_times(settings, light_hours))


def brittleness(settings: Mapping[str, Any], light_hours: float = 0.0) -> float:
    """How far over-curing has gone, 0..1; parameters as in `conversion`."""
    return 1.0 - math.exp(-((_lamp_times(settings, light_hours) / 2.6) ** 2))


def bond(settings: Mapping[str, Any]) -> float:
    """How well the layers of a filament print fuse, 0..1.

    Parameters
    ----------
    settings : mapping
        A recipe with the process ``filament``.
    """
    heat = (settings["nozzle_temperature"] - BEST_NOZZLE) / 19.0
    slender = settings["layer_height"] / settings["line_width"]
    return math.exp(-(heat**2) - (slender / 0.75) ** 2)


def material(settings: Mapping[str, Any], light_hours: float = 0.0) -> Material:
    """Give the material that a recipe makes.

    Parameters
    ----------
    settings : mapping
        A recipe: the active variables of ``experiment.toml``.
    light_hours : float
        Hours of daylight since; only resin minds.
    """
    if settings["process"] == "filament":
        loose = 1.0 - bond(settings)
        return Material(
            modulus=2.7e9 * (1.0 - 0.65 * loose),
            loss=0.024 + 0.050 * loose,
            density=1230.0 * (1.0 - 0.06 * loose),
            even=1.0 + loose,
            odd=1.0 + 4.0 * loose,
        )
    resin = RESINS[settings["resin"]]
    cured = conversion(settings, light_hours)
    brittle = brittleness(settings, light_hours)
    loss = resin.loss_full + (resin.loss_green - resin.loss_full) * (1.0 - cured)
    return Material(
        modulus=resin.modulus * (0.10 + 0.90 * cured**2) * (1.0 + 0.06 * brittle),
        loss=loss * (1.0 - 0.65 * brittle),
        density=resin.density,
        even=1.0 + 5.0 * (1.0 - cured) ** 2,
        odd=1.0 + 3.5 * brittle,
    )
