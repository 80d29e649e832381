"""Simulated kept cones: measured again over hours of light, with known drift."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from experiments.plan import Plan
from optimiser.ageing_laws import Span, curve

PLAN = {
    "name": "kept cones",
    "variables": {
        "wall": {"kind": "integer", "low": 0, "high": 60, "unit": "µm"},
        "process": {"kind": "choice", "levels": ["resin", "filament"]},
    },
    "metrics": {
        "level": {
            "from": "hand", "unit": "dB", "goal": "maximise", "poor": 70, "good": 90,
            "limit": ">= 78.5",
        },
    },
}  # fmt: skip


def plan(**changes: object) -> Plan:
    """The plan, some of its keys changed."""
    return Plan.from_dict({**PLAN, **changes})


@dataclass(frozen=True)
class Shelf:
    """A table of trials and the truth: each cone's level at first and its whole drift."""

    trials: pd.DataFrame
    level: np.ndarray
    drift: np.ndarray
    law: int
    shape: float
    span: Span

    def truth(self, cone: int, times: np.ndarray) -> np.ndarray:
        """The true value of a cone, counted from 0."""
        along = curve(self.law, self.shape, times, self.span)
        return np.asarray(self.level[cone] + self.drift[cone] * along)


def draw(
    cones: int = 6,
    visits: int = 4,
    *,
    drift: float = -1.0,
    spread: float = 0.3,
    session: float = 0.2,
    noise: float = 0.1,
    law: int = 0,
    shape: float = 100.0,
    dark: int = 1,
    longest: float = 500.0,
    by_process: float = 0.0,
    warm: float = 0.0,
    rising: float = 0.0,
    seed: int = 0,
) -> Shelf:
    """Draw cones that start one session after another, and some that are kept in the dark.

    `by_process` is what filament adds to the drift; every other cone is of filament. `warm` is
    what 1 °C adds; sessions differ by some 4 °C, and grow warmer by `rising` from one to the next.
    """
    rng = np.random.default_rng([seed, 31])
    span = Span(0.0, longest)
    drifts = drift + spread * rng.standard_normal(cones + dark)
    drifts += by_process * (np.arange(cones + dark) % 2)
    offsets = session * rng.standard_normal(visits + 2)
    rows = [
        (cone, cone % 3 + visit, longest * visit / (visits - 1))
        for cone in range(cones)
        for visit in range(visits)
    ]
    rows += [(cones + each, visit, 0.0) for each in range(dark) for visit in range(visits + 2)]
    cone, sitting, hours = (np.array(each) for each in zip(*rows, strict=True))
    level = 80 + 0.5 * rng.standard_normal(cones + dark)
    values = level[cone] + drifts[cone] * curve(law, shape, hours, span) + offsets[sitting]
    values = values + noise * rng.standard_normal(len(rows))
    room = np.random.default_rng([seed, 32]).standard_normal(visits + 2)  # a stream of its own
    warmth = np.round(22 + 4 * room + rising * np.arange(visits + 2), 1)
    values = values + warm * (warmth - 22)[sitting]
    trials = pd.DataFrame(
        {
            "cone": cone + 1,
            "status": "measured",
            "session": [f"day {each + 1}" for each in sitting],
            "light_hours": hours,
            "age_days": 1.0 + sitting * 10.0,
            "temperature_c": warmth[sitting] if warm or rising else np.nan,
            "humidity_percent": np.nan,
            "wall": (cone * 7.0) % 60,
            "process": np.where(cone % 2 == 0, "resin", "filament"),
            "level": values,
            "measurement": np.arange(1, len(rows) + 1),
        }
    )
    return Shelf(trials, level, drifts, law, shape, span)
