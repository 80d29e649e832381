"""The material laws against the integrals and curves that they claim to be."""

from __future__ import annotations

import itertools
import math
from typing import Any

import pytest
from scipy.integrate import quad

from demo_trials.materials import (
    BEST_NOZZLE,
    IRRADIANCE,
    RESINS,
    bond,
    brittleness,
    conversion,
    cure_depth,
    material,
)

RESIN: dict[str, Any] = {
    "process": "resin",
    "profile": "straight",
    "wall_thickness": 0.8,
    "layer_height": 0.05,
    "coats": 0,
    "resin": "clear",
    "exposure": 2.5,
    "cure_time": 10,
}
FILAMENT: dict[str, Any] = {
    "process": "filament",
    "profile": "straight",
    "wall_thickness": 0.8,
    "layer_height": 0.15,
    "coats": 0,
    "nozzle_temperature": 215,
    "line_width": 0.4,
}


@pytest.mark.parametrize("name", RESINS)
def test_working_curve_gains_ln2_depths_a_doubling(name: str) -> None:
    # Jacobs, Rapid Prototyping & Manufacturing (1992), from memory: Cd = Dp ln(E / Ec), so
    # doubling the dose adds Dp ln 2, and the dose Ec gives no depth at all.
    resin = RESINS[name]
    gained = cure_depth(resin, 4.0) - cure_depth(resin, 2.0)
    assert gained == pytest.approx(resin.depth * math.log(2.0), rel=1e-12)
    assert cure_depth(resin, resin.critical / IRRADIANCE) == pytest.approx(0.0, abs=1e-12)
    assert cure_depth(resin, 0.5 * resin.critical / IRRADIANCE) == 0.0


@pytest.mark.parametrize("layer", [0.05, 0.1])
def test_layer_gets_the_mean_of_a_beer_lambert_dose(layer: float) -> None:
    # Beer-Lambert: the dose at depth z is D exp(-z / Dp); its mean over the layer, integrated
    # numerically, must give the conversion that the closed form gives.
    resin = RESINS["tough"]
    recipe = RESIN | {"resin": "tough", "layer_height": layer, "cure_time": 0}
    total, _ = quad(lambda z: IRRADIANCE * 2.5 * math.exp(-z / resin.depth), 0.0, layer)
    expected = 1.0 - math.exp(-total / layer / resin.dose)
    assert conversion(recipe) == pytest.approx(expected, rel=1e-9)


def test_light_and_lamp_cure_and_saturate() -> None:
    values = [conversion(RESIN | {"cure_time": t}) for t in range(0, 41, 5)]
    assert all(0.0 < a < b < 1.0 for a, b in itertools.pairwise(values))
    gains = [b - a for a, b in itertools.pairwise(values)]
    assert gains == sorted(gains, reverse=True)
    assert conversion(RESIN, light_hours=300.0) > conversion(RESIN)
    assert brittleness(RESIN | {"cure_time": 0}) == 0.0
    assert 0.5 < brittleness(RESIN | {"cure_time": 40}) < 1.0


def test_thicker_walls_cure_more_slowly() -> None:
    assert conversion(RESIN | {"wall_thickness": 1.2}) < conversion(RESIN)


def test_cure_stiffens_and_takes_damping() -> None:
    young = [material(RESIN | {"cure_time": t}) for t in (0, 10, 20, 40)]
    assert [m.modulus for m in young] == sorted(m.modulus for m in young)
    assert [m.loss for m in young] == sorted((m.loss for m in young), reverse=True)
    # Under-curing and over-curing distort in different ways.
    assert young[0].even > young[-1].even
    assert young[0].odd < young[-1].odd


def test_filament_bonds_best_at_its_temperature_in_low_layers() -> None:
    at = {t: bond(FILAMENT | {"nozzle_temperature": t}) for t in range(195, 240, 5)}
    assert max(at, key=at.__getitem__) == min(at, key=lambda t: abs(t - BEST_NOZZLE))
    assert bond(FILAMENT | {"layer_height": 0.1}) > bond(FILAMENT) > 0.0
    cold, warm = (material(FILAMENT | {"nozzle_temperature": t}) for t in (195, 215))
    assert cold.modulus < warm.modulus
    assert cold.loss > warm.loss


def test_daylight_leaves_filament_alone() -> None:
    assert material(FILAMENT, light_hours=500.0) == material(FILAMENT)
