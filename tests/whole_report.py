"""Material of a report in which every answer is there; invented, nothing here is computed."""

from __future__ import annotations

import dataclasses

import numpy as np

from optimiser.ageing_records import Ageing, LawChoice, Lines, MetricAgeing
from optimiser.answers import Estimate
from optimiser.material import Material
from tests import answers
from tests.optimiser.figures.test_expectation import ANSWER as CURVES_ONLY
from tests.optimiser.figures.test_production import recommendation


def kept() -> Ageing:
    """Two kept cones whose decay grows with light."""
    grid = np.linspace(0, 400, 9)
    mean = np.array([2 + grid / 800, 1.8 + grid / 800])
    times = [np.array([0.0, 200.0, 400.0])] * 2
    lines = Lines(
        ["1", "3"], times, [2 + each / 800 for each in times], "ms", grid, mean,
        mean - 0.1, mean + 0.1, 5.0,
    )  # fmt: skip
    law = LawChoice(None, {"linear": 0.5}, float("nan"), "laws cannot be told apart yet")
    drift = Estimate(0.5, 0.3, 0.8, 2)
    metric = MetricAgeing(
        "decay", "decay", "ms", False, 100, Estimate(0.2, 0.1, 0.3, 2), drift, 6, "drifts up",
        law, [], [], lines, "decay drifts up",
    )  # fmt: skip
    return Ageing(
        "light_hours", "h of light", [metric], 0.0, 400.0, [], None, [], 2,
        ["Cone 3 was kept in the dark."], "Decay drifts up with light.",
    )  # fmt: skip


def whole_material(**changes: object) -> Material:
    """The material of `answers`, and the answers that need more than a table."""
    production = dataclasses.replace(
        recommendation(),
        expected={"decay": Estimate(1.7, 1.4, 2.0, 24)},
        text="Put the recipe into production.",
    )
    foretold = dataclasses.replace(
        CURVES_ONLY,
        settings=answers.RESIN,
        expected=answers.pick().expected,
        text="Expected score: 0.61.",
    )
    found = dataclasses.replace(
        answers.findings(), recommendation=production, ageing=[kept()], foretold=foretold
    )
    return answers.material(**{"findings": found, **changes})
