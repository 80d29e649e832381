"""Where the best setting of a knob lies."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from optimiser.records.estimates import Calibration, Estimate, Settings

__all__ = ["Optimum", "Shift"]


@dataclass(frozen=True)
class Shift:
    """Whether the best setting of a knob differs between two levels of a choice.

    Parameters
    ----------
    variable : str
        The choice.
    a, b : str
        Its two levels; `a` is the one with the better expected score.
    at_a, at_b, difference : Estimate
        The setting with the best expected score under each, and A's less B's, in the knob's
        unit; their intervals are of where the best lies.
    told : bool
        Whether the difference's 90 % interval leaves 0 out.
    """

    variable: str
    a: str
    b: str
    at_a: Estimate
    at_b: Estimate
    difference: Estimate
    told: bool


@dataclass(frozen=True)
class Switch:
    """Where along a knob's range the best recipe changes its level of a choice.

    Parameters
    ----------
    variable : str
        The choice.
    before, after : str or None
        Its level up to the setting `last`, and from the setting `first`; None where the recipe
        has none.
    last, first : float
        Neighbours among the settings that were followed.
    """

    variable: str
    before: str | None
    after: str | None
    last: float
    first: float

    @property
    def middle(self) -> float:
        """Half-way between the two settings."""
        return (self.last + self.first) / 2


@dataclass(frozen=True)
class Optimum:
    """Where the best setting of one knob lies.

    Parameters
    ----------
    setting : float or str or None
        The setting with the best expected score, all other knobs at their best; None while
        nothing can be said, or where the interval is nearly the whole range.
    low, high : float or str or None
        90 % interval of where the best lies (for a choice: None).
    as_good : list
        Settings whose score lies within the repeatability of the best with probability 1/2 or
        more.
    curve : pandas.DataFrame
        ``setting, mean, low, high, probability``: score at the best of the other knobs, and
        the probability that this setting is the best one.
    at_edge : bool
        Whether the best sits at the end of the range.
    hold : dict
        Settings of other knobs that were held; empty where all are at their best.
    metrics : dict of str to pandas.DataFrame
        ``setting, mean, low, high`` of each metric at the recipe that, with this setting, has
        the best expected score.
    shifts : list of Shift
        Whether it differs between the levels of each choice.
    switches : list of Switch
        Where the recipe with the best expected score changes its level of a choice, from low to
        high settings of a numeric knob.
    """

    variable: str
    unit: str
    setting: Any
    low: Any
    high: Any
    as_good: list[Any]
    curve: pd.DataFrame = field(repr=False, compare=False)
    at_edge: bool
    cones: int
    calibration: list[Calibration]
    notes: list[str]
    text: str
    hold: Settings = field(default_factory=dict)
    metrics: dict[str, pd.DataFrame] = field(default_factory=dict, repr=False, compare=False)
    shifts: list[Shift] = field(default_factory=list)
    switches: list[Switch] = field(default_factory=list)
