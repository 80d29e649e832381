"""A value with its interval, and how well a model foretells."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

__all__ = ["UNTOLD", "Calibration", "Estimate", "Settings"]

Settings = dict[str, Any]


@dataclass(frozen=True)
class Estimate:
    """A value with its 90 % interval.

    Parameters
    ----------
    mean, low, high : float
        Expected value and the ends of the interval, in the unit of what is estimated. NaN where
        the data cannot carry the number.
    cones : int
        How many measured cones stand behind it.
    """

    mean: float
    low: float
    high: float
    cones: int = 0

    @property
    def known(self) -> bool:
        """Whether the data carry the number."""
        return self.mean == self.mean


UNTOLD = Estimate(float("nan"), float("nan"), float("nan"))
"""What nothing can be told of."""


@dataclass(frozen=True)
class Calibration:
    """How well a metric's model foretells cones it was not shown (leave one cone out).

    Parameters
    ----------
    metric : str
        The metric's name.
    cones : int
        Cones left out in turn.
    inside : int
        How many of them fell inside their 90 % interval.
    error : float
        Root mean square error of the foretold value, in the metric's unit.
    spread : float
        Standard deviation of the metric over the cones, in its unit: what `error` is without
        a model.
    table : pandas.DataFrame
        One row a measurement: ``cone, observed, mean, low, high``.
    """

    metric: str
    unit: str
    cones: int
    inside: int
    error: float
    spread: float
    table: pd.DataFrame = field(repr=False, compare=False)

    @property
    def foretells(self) -> bool:
        """Whether the model knows more than the spread: it misses by less than 0.9 of it."""
        return self.error < 0.9 * self.spread

    @property
    def text(self) -> str:
        """One plain sentence."""
        if self.cones < 3:
            return f"{self.metric}: too few cones ({self.cones}) to check the model."
        unit = f" {self.unit}" if self.unit else ""
        return (
            f"{self.metric}: {self.inside} of {self.cones} cones fell inside the 90 % interval "
            f"when left out; typical miss {self.error:.3g}{unit} against a spread of "
            f"{self.spread:.3g}{unit}."
        )
