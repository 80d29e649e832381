"""Simulated workshops: cones of several recipes, heard in several sessions, with known spread."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pandas as pd

from experiments.plan import Plan

Row = tuple[int, int, int]
"""Recipe, cone and session of one measurement."""

PLAN = {
    "name": "simulated workshop",
    "variables": {"wall": {"kind": "integer", "low": 0, "high": 60, "unit": "µm"}},
    "metrics": {
        "level": {"from": "hand", "unit": "dB", "goal": "maximise", "poor": 70, "good": 90},
        "decay": {"from": "hand", "unit": "ms", "goal": "minimise", "poor": 5, "good": 1},
    },
    "sessions": {"reference_cone": 1},
}


def plan(**changes: object) -> Plan:
    """The plan, some of its keys changed; None leaves one out."""
    return Plan.from_dict({k: v for k, v in {**PLAN, **changes}.items() if v is not None})


def kept_reference() -> list[Row]:
    """A reference cone heard in six sessions, two cones heard twice, two recipes printed twice."""
    reference = [(0, 1, session) for session in range(6)]
    again = [(1, 3, 1), (1, 3, 3), (2, 4, 2), (2, 4, 5)]
    return [*reference, (0, 2, 2), *again, (3, 5, 4), (3, 6, 5)]


def thorough() -> list[Row]:
    """A reference cone mounted twice in each of six sessions, six recipes printed thrice."""
    rows = [(0, 1, session) for session in range(6) for _ in range(2)]
    for recipe in range(1, 7):
        first = 3 * recipe
        rows += [(recipe, first, recipe % 6), (recipe, first + 1, recipe % 6)]
        rows += [(recipe, first + 2, (recipe + 1) % 6), (recipe, first, (recipe + 2) % 6)]
    return rows


def modest() -> list[Row]:
    """One session, four recipes printed twice, every cone mounted twice."""
    return [(recipe, 2 * recipe + copy + 1, 0) for recipe in range(4) for copy in (0, 0, 1, 1)]


DESIGNS = {"kept reference": kept_reference, "thorough": thorough, "modest": modest}


@dataclass(frozen=True)
class Workshop:
    """A table of trials and what it was drawn from.

    `sessions`, `cones`, `noise` are the standard deviations; `offsets` what each session adds to
    the level.
    """

    trials: pd.DataFrame
    sessions: float
    cones: float
    noise: float
    offsets: np.ndarray


def draw(
    rows: Sequence[Row], sessions: float, cones: float, noise: float, seed: int = 0
) -> Workshop:
    """Draw a workshop: the level in dB, and a decay whose logarithm is a twentieth of it."""
    rng = np.random.default_rng([seed, 77])
    recipe, cone, session = np.array(rows).T
    offsets = sessions * rng.standard_normal(session.max() + 1)
    prints = cones * rng.standard_normal(cone.max() + 1)
    level = 80 + 3 * rng.standard_normal(recipe.max() + 1)[recipe]
    level = level + offsets[session] + prints[cone] + noise * rng.standard_normal(len(rows))
    return Workshop(table(rows, level), sessions, cones, noise, offsets)


def table(rows: Sequence[Row], level: Sequence[float] | np.ndarray) -> pd.DataFrame:
    """Give measured levels as a table of trials."""
    recipe, cone, session = np.array(rows).T
    return pd.DataFrame(
        {
            "cone": cone,
            "status": "measured",
            "session": [f"day {number + 1}" for number in session],
            "wall": recipe.astype(float),
            "level": np.asarray(level, dtype=float),
            "decay": 2 * np.exp(np.clip((np.asarray(level, dtype=float) - 80) / 20, -50, 50)),
            "measurement": np.arange(1, len(rows) + 1),
        }
    )
