"""Whether another cone is worth printing."""

from __future__ import annotations

from dataclasses import dataclass, field

import pandas as pd

from optimiser.records.estimates import UNTOLD, Calibration, Estimate

__all__ = ["Outlook"]


@dataclass(frozen=True)
class Outlook:
    """Whether another cone is worth printing.

    Parameters
    ----------
    gain : Estimate
        Expected gain in score of the best next cone.
    repeatability : float
        Standard deviation of the score of one recipe printed and measured again; NaN while
        unknown.
    assumed : bool
        Whether that is an assumption: no recipe was printed twice.
    within : dict of float to float
        Probability that the best cone so far lies within 1 %, 2 %, 5 % (keys 0.01, 0.02, 0.05)
        of the best printable recipe.
        Cones planned or printed but not measured count in none of these.
    alike : float
        Probability that it cannot be told from the best printable recipe: that it lies within
        5 % or the repeatability, whichever is more.
    verdict : {'go on', 'nearly there', 'stop', 'no verdict', 'cannot tell yet'}
        'no verdict' where the plan trades: a front has no single best cone.
    best : int or None
        The best cone so far by its expected score.
    history : pandas.DataFrame
        ``cones, best``: best measured score after each cone.
    plate : Estimate
        Expected gain of a plate of four cones, chosen at once.
    minutes, money : float
        Effort of the next cone, set-up included; NaN where the plan gives no formula.
    continuation : pandas.DataFrame
        ``more, best, low, high, gain, gain_low, gain_high, ceiling``: the best true score after
        so many more cones, were they all chosen now; see `optimiser.continuation`.
    volume, added : Estimate
        Where the plan trades, the hypervolume that the front covers, and what the next cone is
        expected to add; see `Front`.
    """

    gain: Estimate
    repeatability: float
    within: dict[float, float]
    verdict: str
    best: int | None
    history: pd.DataFrame = field(repr=False, compare=False)
    cones: int
    calibration: list[Calibration]
    notes: list[str]
    text: str
    alike: float = float("nan")
    plate: Estimate = UNTOLD
    minutes: float = float("nan")
    money: float = float("nan")
    continuation: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False, compare=False)
    volume: Estimate = UNTOLD
    added: Estimate = UNTOLD
    assumed: bool = False
