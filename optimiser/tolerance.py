"""What a printer makes of a recipe: settings that stray by the plan's tolerances.

A variable's `tolerance` is the standard deviation, in its unit, of what is really made about the
setting. Strayed settings are normal, drawn quasi-randomly and scaled so that each knob's mean and
variance are exact. They lie off the steps and may lie a little beyond low and high: the model is
asked there as anywhere, and knows less the further out. Nothing falls below 0 where the range
starts at 0 or more, and on a log scale nothing falls below half the low end. Rules bind the
settings that you choose, not what becomes of them; which knobs exist stays as chosen.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from experiments.plan import Plan, Variable
from experiments.sampling import points
from experiments.space import Space

__all__ = ["Straying", "strays"]

Floats = npt.NDArray[np.float64]


def strays(plan: Plan) -> list[Variable]:
    """Give the variables that the printer does not hit exactly."""
    return [each for each in plan.variables.values() if each.numeric and each.tolerance > 0]


class Straying:
    """The settings that a printer makes of recipes.

    Parameters
    ----------
    plan : Plan
    count : int
        Prints of each recipe; or 1, for a printer that is exact. It is 1 where no variable
        has a tolerance.
    seed : int

    Attributes
    ----------
    count : int
    departures : ndarray of shape (count, knobs)
        In standard deviations, one column a variable of `strays`.
    """

    def __init__(self, plan: Plan, *, count: int, seed: int = 0) -> None:
        self.knobs = strays(plan) if count > 1 else []
        self.count = count if self.knobs else 1
        self.departures = _normal(self.count, len(self.knobs), seed)

    def __call__(self, recipes: pd.DataFrame) -> pd.DataFrame:
        """Give each recipe's prints, one below the other.

        Parameters
        ----------
        recipes : DataFrame of shape (m, variables)
            NaN or None where a variable is inactive; so it stays.

        Returns
        -------
        DataFrame of shape (m * count, variables)
        """
        rows = np.repeat(np.arange(len(recipes)), self.count)
        made = recipes.iloc[rows].reset_index(drop=True)
        for column, knob in enumerate(self.knobs):
            away = np.tile(self.departures[:, column], len(recipes)) * knob.tolerance
            set_to = made[knob.name].to_numpy(dtype=float)
            made[knob.name] = np.maximum(set_to + away, np.minimum(_floor(knob), set_to))
        return made

    def outside(self, recipe: pd.DataFrame) -> float:
        """Share of one recipe's prints of which a setting lies beyond low or high."""
        made = self(recipe)
        out = np.zeros(len(made), dtype=bool)
        for knob in self.knobs:
            values = made[knob.name].to_numpy(dtype=float)
            out |= (values < float(knob.grid[0])) | (values > float(knob.grid[-1]))
        return float(out.mean())

    def over_rules(self, space: Space, recipe: pd.DataFrame) -> float:
        """Share of one recipe's prints whose settings a rule would not have let you choose."""
        if not self.knobs or not space.plan.rules:
            return 0.0
        made = self(recipe)
        broken = [bool(space.broken_rules(space.settings(row))) for _, row in made.iterrows()]
        return float(np.mean(broken))


def _floor(knob: Variable) -> float:
    """Give the least that can be made."""
    low = float(knob.grid[0])
    if knob.scale == "log":
        return low / 2
    return 0.0 if low >= 0 else -np.inf


def _normal(count: int, width: int, seed: int) -> Floats:
    """Draw normal departures, each column of mean 0 and variance 1."""
    if not width:
        return np.zeros((count, 0))
    unit = points(count, width, np.random.default_rng([seed, 41]))
    normal = special.ndtri(np.clip(unit, 1e-6, 1 - 1e-6))
    normal -= normal.mean(axis=0)
    return np.asarray(normal / normal.std(axis=0))
