"""Levels of a choice that too few cones have tried for the model to give them up.

A model that expects every knob to act alike everywhere believes flat readings: after three poor
cones of one way of making it leaves that way hardly a chance, although a narrow optimum may lie
between them. Where a cone elsewhere gains too little to show, it is better spent there. Our own
rule, no source; DEVELOPERS.md tells what it saves in the race.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Variable
from optimiser.acquisition import NoisyImprovement
from optimiser.encoding import Points
from optimiser.pool import repeatability
from optimiser.surrogate import Model
from optimiser.wording import many, recipe_line

__all__ = ["LITTLE", "Level", "hardly_tried", "little_left", "warning", "worth_a_try"]

LITTLE = 0.25
"""Share of the score's repeatability under which a gain is little."""

_LIKELY = 0.5


@dataclass(frozen=True)
class Level:
    """A level of a choice.

    Parameters
    ----------
    variable : Variable
    value : str
    name : str
        Both as a maker reads them.
    tries : int
        Recipes with it that were measured, failed, are pending or picked; those of an earlier
        experiment too where that is believed.
    """

    variable: Variable
    value: str
    name: str
    tries: int

    def among(self, recipes: pd.DataFrame) -> npt.NDArray[np.bool_]:
        """Tell which recipes have it."""
        return (recipes[self.variable.name] == self.value).to_numpy(dtype=bool)


def hardly_tried(model: Model, enough: int, picked: Sequence[pd.DataFrame] = ()) -> list[Level]:
    """Give the levels of choices with fewer tries than enough, those with the fewest first.

    None where the plan trades: its front is the model's.

    Parameters
    ----------
    model : Model
    enough : int
    picked : sequence of DataFrame
        Recipes that were picked since.
    """
    plan = model.plan
    if model.goals.trade:
        return []
    sources = [model.evidence, *([model.earlier] if model.earlier and model.informed else [])]
    frames = [frame for each in sources for frame in (each.known, each.recipes(each.failed))]
    some = [frame for frame in [*frames, *picked] if len(frame)]
    tried = pd.concat(some or frames[:1]).drop_duplicates()
    levels = [
        Level(
            variable,
            value,
            recipe_line(plan, {variable.name: value}),
            int((tried[variable.name] == value).sum()),
        )
        for variable in plan.variables.values()
        if variable.kind == "choice" and len(variable.grid) > 1
        for value in variable.grid
    ]
    few = (level for level in levels if level.tries < enough)
    return sorted(few, key=lambda level: level.tries)


def little_left(model: Model, acquisition: NoisyImprovement, points: Points) -> bool:
    """Whether the gain that a recipe, one point, promises is too little to show."""
    return bool(acquisition.gain(points).mean() < LITTLE * repeatability(model))


def worth_a_try(model: Model, points: Points) -> npt.NDArray[np.bool_]:
    """Tell which recipes are as likely as not to print, and to keep the hard limits."""
    prints = model.printability(points) >= _LIKELY
    return np.asarray(prints & (model.keeps_limits(points) >= _LIKELY))


def warning(levels: list[Level]) -> list[str]:
    """Say that levels are not settled by the model's word; nothing where there are none."""
    if not levels:
        return []
    few = "; ".join(f"{level.name} ({many(level.tries, 'recipe')})" for level in levels)
    return [
        f"Hardly tried: {few}. So few may have missed a narrow optimum; where little is left to "
        "gain elsewhere, the next cones try there before it is given up."
    ]
