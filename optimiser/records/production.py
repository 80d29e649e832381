"""What `recommend` answers: plain records. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from optimiser.records.estimates import UNTOLD, Calibration, Estimate, Settings

__all__ = ["Candidate", "Confirmation", "Hinge", "LimitProof", "Nearby", "Recommendation"]


@dataclass(frozen=True)
class Candidate:
    """A recipe that may go into production.

    Parameters
    ----------
    role : {'recommended', 'best if exact', 'best measured', 'runner-up'}
    settings : dict
    made : Estimate
        Expected score over what the printer makes of it, of the recipe itself (no noise of a
        measurement).
    exact : Estimate
        Score if the printer hit every setting.
    behind : Estimate
        By how much `made` is worse than that of the recommended recipe; 0 for itself.
    beats : float
        Probability that `made` is better than that of the recommended recipe; NaN for itself.
    limits : dict of str to float
        Probability that a print of it keeps each hard limit, its scatter and what is not known
        included.
    prints : float
        Probability that it prints at all; NaN while no cone has failed.
    sound : float
        Probability that a print of it comes off the printer and keeps every hard limit.
    cones : list of str
        Measured cones of just this recipe.
    printing : Estimate
        `prints` with the 90 % interval of the share of its prints that come off, and the number of
        prints behind it.
    """

    role: str
    settings: Settings
    made: Estimate
    exact: Estimate
    behind: Estimate
    beats: float
    limits: dict[str, float]
    prints: float
    sound: float
    cones: list[str] = field(default_factory=list)
    printing: Estimate = UNTOLD


@dataclass(frozen=True)
class Nearby:
    """A measured cone near the recommended recipe.

    Parameters
    ----------
    cone : str
    changes : dict
        Settings in which it differs: name to (of the cone, of the recipe); None where absent.
    """

    cone: str
    changes: dict[str, tuple[Any, Any]]


@dataclass(frozen=True)
class Hinge:
    """What the choice between the recommended recipe and its runner-up hangs on.

    Parameters
    ----------
    metric : str
    role : {'recommended', 'runner-up'}
        Of which recipe.
    threshold : float
        True value of the metric beyond which the runner-up is the better one.
    above : bool
        Whether beyond means above.
    expected : Estimate
        What is known of the metric there, in its unit.
    probability : float
        That it lies beyond.
    """

    metric: str
    role: str
    threshold: float
    above: bool
    expected: Estimate
    probability: float


@dataclass(frozen=True)
class LimitProof:
    """How the confirmation run must show that a hard limit is kept.

    Parameters
    ----------
    metric : str
    limit : str
        As the plan has it, such as ``'>= 4'``.
    log : bool
        Whether mean and standard deviation are those of the metric's logarithm.
    factor : float
        The mean must keep the limit by this many standard deviations, both of the run's cones:
        a one-sided tolerance factor for nine of ten prints at 95 % confidence.
    bar : float
        Where the mean must then lie if the cones scatter as expected, in the metric's unit.
    passes : float
        Probability to pass if the model is right.
    """

    metric: str
    limit: str
    log: bool
    factor: float
    bar: float
    passes: float


@dataclass(frozen=True)
class Confirmation:
    """The run that confirms the recommended recipe.

    Parameters
    ----------
    cones : int
        How many to print and measure.
    threshold : float
        What the mean of their scores must reach (stay under, where less is better).
    sd : float
        Expected standard deviation of one cone's score.
    rival : float
        Score that would be no reason to change: what the runner-up is expected to reach; NaN
        where there is none.
    decides : bool
        Whether the threshold tells the recipe from such a score. If not, no run of up to 20 cones
        is likely to, and the threshold is only what the recipe would miss one time in twenty.
    proves : bool
        Whether the run is likely to prove that every hard limit is kept (true without limits).
        If not, none of up to 20 cones is.
    passes : float
        Probability that the run passes in score and limits, if the model is right.
    caught : float
        True score that fails with probability 0.95, as any worse one does more often.
    fails : float
        Probability that it fails if the true score is no better than `rival`; NaN without one.
    limits : list of LimitProof
        Each fails with 95 % if only nine of ten prints keep the limit.
    curve : pandas.DataFrame
        ``score, passes``: probability that the mean reaches the threshold, over true scores.
    """

    cones: int
    threshold: float
    sd: float
    rival: float
    decides: bool
    proves: bool
    passes: float
    caught: float
    fails: float
    limits: list[LimitProof]
    curve: pd.DataFrame = field(repr=False, compare=False)


@dataclass(frozen=True)
class Recommendation:
    """The recipe to go into production.

    Parameters
    ----------
    recipe : Candidate or None
        None while nothing can be told.
    others : list of Candidate
        The best recipe if the printer were exact and the best measured one, where they are
        others; then up to three runner-ups that differ clearly.
    cost : Estimate
        Score given up against the best recipe if the printer were exact.
    gain : Estimate
        Score won against that recipe with the printer as it is.
    within : dict of float to float
        Probability that the recipe's `made` is within 1, 2, 5 % of the best recipe that may
        be chosen.
    kept : Estimate
        Share of its prints (0..1) that keep every hard limit; 1 without limits.
    outside, over_rules : float
        Share of its prints with a setting beyond low or high, and across a rule.
    expected : dict of str to Estimate
        Each metric's 90 % interval of a new measurement of a new cone at the chosen settings.
    nearest : list of Nearby
        Measured cones, the nearest first.
    hinge : Hinge or None
        Towards the first runner-up; None where no single metric would change the choice.
    confirmation : Confirmation or None
    """

    recipe: Candidate | None
    others: list[Candidate]
    cost: Estimate
    gain: Estimate
    within: dict[float, float]
    kept: Estimate
    outside: float
    over_rules: float
    expected: dict[str, Estimate]
    nearest: list[Nearby]
    hinge: Hinge | None
    confirmation: Confirmation | None
    cones: int
    calibration: list[Calibration]
    notes: list[str]
    text: str
