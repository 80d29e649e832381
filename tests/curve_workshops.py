"""Invented cones with whole curves: those of the demo's model, and a family known in full."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd

from demo_trials import rig, truth
from demo_trials.physics import build, print_chance
from experiments.acoustics import Distortion, Impulse, Response
from experiments.acoustics.response import level as response_level
from experiments.plan import Plan
from experiments.space import Space
from optimiser.curve_readings import CurveReading, CurveReadings, curve_lines

PLAN = {
    "name": "simulated curves",
    "variables": {
        "wall": {"kind": "continuous", "low": 0, "high": 1, "step": 0.01},
        "process": {"kind": "choice", "levels": ["resin", "filament"]},
        "cure": {
            "kind": "continuous", "low": 0, "high": 1, "step": 0.01,
            "only_when": {"process": ["resin"]},
        },
    },
    "metrics": {
        "level": {"from": "response", "band": [300, 3000], "unit": "dB", "goal": "maximise"}
    },
}  # fmt: skip


def demo_recipes(count: int, seed: int) -> list[dict[str, Any]]:
    """Random recipes of the demo that nearly always print."""
    space = Space(truth.plan())
    rows = space.sample(6 * count + 50, seed=seed)
    recipes = [space.settings(row) for _, row in rows.iterrows()]
    return [one for one in recipes if print_chance(one) > 0.8][:count]


def demo_reading(traces: rig.Traces, measurement: int) -> list[CurveReading]:
    """A measurement of the demo's rig as curves."""
    percent = dict(enumerate(traces.percent, start=2))
    lines = curve_lines(
        {
            "response": Response(rig.RESPONSE_GRID, traces.level),
            "distortion": Distortion(rig.DISTORTION_GRID, harmonics=percent),
            "impulse": Impulse(traces.samples, rig.RATE),
        }
    )
    return [CurveReading(measurement, name, *line) for name, line in lines.items()]


def demo_workshop(
    recipes: Sequence[Mapping[str, Any]], seed: int, *, sitting: int = 5
) -> tuple[pd.DataFrame, CurveReadings]:
    """Print each recipe once; hear so many a session, and the first cone again in each."""
    rows: list[dict[str, Any]] = []
    curves: list[CurveReading] = []
    spreads = [rig.print_spread(rig.stream(seed, 1, place)) for place in range(len(recipes))]
    heard = [(place // sitting, place) for place in range(len(recipes))]
    heard += [(session, 0) for session in range(1, (len(recipes) - 1) // sitting + 1)]
    for number, (session, place) in enumerate(sorted(heard)):
        room = rig.session_rig(rig.stream(seed, 2, session))
        cone = build(recipes[place], spreads[place], warmer=room.warmer)
        traces = rig.observe(cone, room, rig.stream(seed, 3, session, place))
        curves += demo_reading(traces, number)
        rows.append(
            {
                **recipes[place],
                "cone": place + 1,
                "session": f"s{session}",
                "measurement": number,
                "status": "measured",
                **truth.true_metrics(cone),
            }
        )
    return pd.DataFrame(rows), CurveReadings(curves)


def known_plan() -> Plan:
    """The plan of `known_family`."""
    return Plan.from_dict(PLAN)


FREQUENCY = np.geomspace(100, 10000, 120)


def known_curve(recipe: Mapping[str, Any], print_seed: int | None = None) -> np.ndarray:
    """The response of a recipe, dB: a slope and a peak, both smooth in the settings.

    With a seed, of one print: the peak 3 % off in frequency, its height 0.5 dB, the level 0.3 dB.
    """
    cure = float(recipe.get("cure", 0.4))
    moved, high, level = 0.0, 0.0, 0.0
    if print_seed is not None:
        moved, high, level = np.random.default_rng([print_seed, 5]).normal(0, [0.04, 0.5, 0.3])
    peak = 1.2 + 0.8 * recipe["wall"] + 0.3 * np.sin(3 * cure) + moved
    peak -= 0.3 * (recipe["process"] == "filament")
    x = np.log2(FREQUENCY / 1000)
    bump = (6 + 2 * cure + high) * np.exp(-0.5 * ((x - peak) / 0.25) ** 2)
    return np.asarray(
        80 - 3 * recipe["wall"] + level + bump - 6 * np.log1p(np.exp(3 * (x - peak - 1)))
    )


def known_family(count: int, seed: int) -> tuple[pd.DataFrame, CurveReadings]:
    """Random recipes of the known family, each printed and measured once with 0.1 dB of noise."""
    rng = np.random.default_rng([seed, 6])
    rows: list[dict[str, Any]] = []
    curves = []
    for number in range(1, count + 1):
        recipe: dict[str, Any] = {"wall": round(rng.random(), 2)}
        recipe["process"] = ["resin", "filament"][rng.integers(2)]
        if recipe["process"] == "resin":
            recipe["cure"] = round(rng.random(), 2)
        level = known_curve(recipe, 1000 * seed + number) + rng.normal(0, 0.1, FREQUENCY.size)
        curves.append(CurveReading(number, "response", FREQUENCY, level))
        rows.append(
            {**recipe, "cone": number, "measurement": number, "status": "measured",
             "level": response_level(Response(FREQUENCY, level), (300.0, 3000.0))}
        )  # fmt: skip
    return pd.DataFrame(rows), CurveReadings(curves)
