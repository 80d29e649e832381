"""What variables do, alone and in pairs."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from optimiser.records.estimates import Calibration, Estimate

__all__ = ["Knob", "Pair", "Sensitivity"]


@dataclass(frozen=True)
class Knob:
    """What one variable does to one metric.

    Parameters
    ----------
    variable, unit : str
        Name and unit of the variable.
    first, total : Estimate
        First-order and total Sobol index, 0..1, among the recipes in which the variable exists.
    effect : pandas.DataFrame
        ``setting, mean, low, high`` in the variable's and the metric's own units: the mean over
        all other settings, with the 90 % band of that mean.
    verdict : {'matters', 'may matter', 'no effect seen', 'cannot tell yet'}
    share_active : float
        Share of the printable recipes in which the variable exists at all.
    evidence : float
        Natural logarithm of how many times likelier the table is with the variable in the model
        than without it (a Bayes factor); for the score, of the metric where it is largest. NaN
        while unknown.
    """

    variable: str
    unit: str
    first: Estimate
    total: Estimate
    effect: pd.DataFrame = field(repr=False, compare=False)
    verdict: str
    share_active: float = 1.0
    evidence: float = float("nan")


@dataclass(frozen=True)
class Pair:
    """What two knobs do together beyond what each does alone.

    Parameters
    ----------
    a, b : str
        The variables, in plan order.
    index : Estimate
        Second-order Sobol index among the recipes in which both exist.
    verdict : {'seen', 'none seen', 'cannot tell yet'}
    effect : pandas.DataFrame
        ``a, b, mean, low, high``: the mean over all other settings at settings of both; empty
        but for the two strongest pairs.
    """

    a: str
    b: str
    index: Estimate
    verdict: str
    effect: pd.DataFrame = field(repr=False, compare=False)


@dataclass(frozen=True)
class Sensitivity:
    """Which knobs matter for one metric; knobs sorted by total index, largest first.

    Parameters
    ----------
    pairs : list of Pair
        Every two knobs that some recipe has both, the strongest interaction first.
    """

    metric: str
    unit: str
    knobs: list[Knob]
    cones: int
    calibration: list[Calibration]
    notes: list[str]
    text: str
    pairs: list[Pair] = field(default_factory=list)

    def table(self) -> pd.DataFrame:
        """Give one row a variable: indices with their intervals and the verdict."""
        rows = [
            {
                "variable": knob.variable,
                "first": knob.first.mean,
                "first_low": knob.first.low,
                "first_high": knob.first.high,
                "total": knob.total.mean,
                "total_low": knob.total.low,
                "total_high": knob.total.high,
                "evidence": knob.evidence,
                "verdict": knob.verdict,
            }
            for knob in self.knobs
        ]
        return pd.DataFrame(rows)
