"""What the questions answer: plain records that every caller can print, draw or store.

Nothing here computes. A number that the data cannot carry is NaN, and a note says why.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

__all__ = [
    "Calibration",
    "Comparison",
    "DeadEnds",
    "Estimate",
    "Front",
    "Knob",
    "Member",
    "Optimum",
    "Outlook",
    "Pair",
    "Paired",
    "Pick",
    "Sensitivity",
    "Shift",
    "Variant",
]

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


@dataclass(frozen=True)
class Pick:
    """A proposed cone.

    Parameters
    ----------
    settings : dict
        Value of each active variable; inactive ones are absent.
    expected : dict of str to Estimate
        Each metric's 90 % interval of a new measurement of a new cone.
    score : Estimate
        The same for the score (or for the single metric that is optimised).
    why : str
        One plain sentence.
    kind : {'first', 'earlier', 'improve', 'explore', 'confirm'}
        Space-filling start; best by an earlier experiment while ours is empty; expected to
        improve; mostly to learn; a repeat of the leader.
    prints : float
        Probability that the recipe prints at all; NaN while nothing is known of failures.
    minutes, money : float
        The recipe's effort, set-up included; NaN where the plan gives no formula.
    set_up : float
        Minutes of set-up changes since the cone before; NaN while there is none.
    set_ups : list of str
        The variables that need them.
    gain : float
        Expected improvement of the score over the best so far, or, where the plan trades, of the
        hypervolume under the front; NaN for a first cone.
    exploration : float
        Share of `gain` (0..1) that lies in what is not known yet: 1 less the step that the recipe
        itself is expected to make on the best of all recipes measured, pending or picked before,
        over `gain`. 0 for a sure improvement, 1 where no step is expected; NaN for a first cone
        and a repeat.
    departs_from : int or None
        Number of the cone that it is compared with.
    changes : dict
        Settings in which it differs from that cone: name to (there, here).
    """

    settings: Settings
    expected: dict[str, Estimate]
    score: Estimate
    why: str
    kind: str = "first"
    prints: float = float("nan")
    minutes: float = float("nan")
    money: float = float("nan")
    set_up: float = float("nan")
    set_ups: list[str] = field(default_factory=list)
    gain: float = float("nan")
    exploration: float = float("nan")
    departs_from: int | None = None
    changes: dict[str, tuple[Any, Any]] = field(default_factory=dict)


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
        Where the best setting lies under each, and A's less B's, in the knob's unit.
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


@dataclass(frozen=True)
class Paired:
    """A against B over the same other settings, each pair of recipes alike in all else.

    Parameters
    ----------
    profiles : int
        Pairs of printable recipes, evenly drawn.
    difference : dict of str to Estimate
        A minus B for each metric, averaged over them.
    score : Estimate
        The same for the score.
    share : Estimate
        Share of the profiles (0..1) in which A's score is the better one.
    equivalence : float
        As for `Comparison`, of the averaged score.
    suits_a, suits_b : dict
        Other settings with which A, and B, is expected to be best.
    contrast : Estimate
        By how much A is further ahead of B (or less behind) with the settings that suit A than
        with those that suit B, in the unit of the score; 0 where the same settings suit both.
    told : bool
        Whether its 90 % interval leaves 0 out: each of the two wants settings of its own.
    """

    profiles: int
    difference: dict[str, Estimate]
    score: Estimate
    share: Estimate
    equivalence: float
    suits_a: Settings
    suits_b: Settings
    contrast: Estimate
    told: bool


@dataclass(frozen=True)
class Comparison:
    """Whether A beats B.

    Parameters
    ----------
    difference : dict of str to Estimate
        A minus B for each metric, of the recipes themselves (no measurement noise).
    score : Estimate
        The same for the score.
    probability : float
        Probability that A's score is higher than B's.
    replicates : int or None
        Cones of each that would decide it nine times in ten (80 % power); None where no number
        of up to 50 would, or nothing can be said.
    equivalence : float
        The larger probability of the two that the score's difference is over the repeatability,
        up or down (in the limit the p value of two one-sided tests): under 0.05 the two are
        equal within the repeatability. NaN while unknown.
    power : dict of int to float
        Cones of each to the probability that they would tell the expected difference from none
        at 90 %.
    paired : Paired or None
        The same two over equal other settings; None where the sides are whole recipes.
    """

    a: Settings
    b: Settings
    difference: dict[str, Estimate]
    score: Estimate
    probability: float
    replicates: int | None
    cones: int
    calibration: list[Calibration]
    notes: list[str]
    text: str
    equivalence: float = float("nan")
    power: dict[int, float] = field(default_factory=dict)
    paired: Paired | None = None


@dataclass(frozen=True)
class Variant:
    """A level of a choice or a region of a knob, and whether the best can still lie there.

    Parameters
    ----------
    probability : float
        That the best recipe lies there; for a knob that exists only in some recipes, the best of
        those.
    loss : Estimate
        What giving it up is expected to cost, in the unit of the score.
    verdict : {'keep', 'undecided', 'drop', 'cannot tell yet'}
    saves : Estimate
        Cones of the next ten that would be spent there if it were not given up, were each cone
        spent where the best may lie, as often as it may lie there. An estimate from the chance
        alone, not a simulation; NaN while there is none, or where nothing else would be left.
    """

    variable: str
    where: str
    settings: tuple[Any, ...]
    probability: float
    loss: Estimate
    verdict: str
    cones: int
    saves: Estimate = Estimate(float("nan"), float("nan"), float("nan"))


@dataclass(frozen=True)
class DeadEnds:
    """Which variants can be given up; `variants` in plan order."""

    variants: list[Variant]
    cones: int
    calibration: list[Calibration]
    notes: list[str]
    text: str


@dataclass(frozen=True)
class Member:
    """A measured recipe, as it stands towards the front.

    Parameters
    ----------
    cones : list of str
        Numbers of its cones.
    settings : dict
    expected : dict of str to Estimate
        Each metric's 90 % interval of the recipe itself, without the noise of a measurement.
    positions : dict of str to Estimate
        The same between poor (0) and good (1), larger being better.
    chance : float
        Probability that no other measured recipe is as good in every metric and better in one.
    """

    cones: list[str]
    settings: Settings
    expected: dict[str, Estimate]
    positions: dict[str, Estimate]
    chance: float


@dataclass(frozen=True)
class Front:
    """The front between metrics that pull apart.

    Parameters
    ----------
    metrics : list of str
        Between which it lies.
    members : list of Member
        Every measured recipe that has them all, the best in the first metric first; empty while
        nothing can be told.
    volume : Estimate
        Hypervolume between the corner where all are poor and the front; 1 is the box to the
        corner where all are good.
    """

    metrics: list[str]
    members: list[Member]
    volume: Estimate
    cones: int
    calibration: list[Calibration]
    notes: list[str]
    text: str


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
    within : dict of float to float
        Probability that the best cone so far lies within 1 %, 2 %, 5 % (keys 0.01, 0.02, 0.05)
        of the best printable recipe.
        Cones planned or printed but not measured count in none of these.
    alike : float
        Probability that it cannot be told from the best printable recipe: that it lies within
        5 % or the repeatability, whichever is more.
    verdict : {'go on', 'nearly there', 'stop', 'cannot tell yet'}
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
    plate: Estimate = Estimate(float("nan"), float("nan"), float("nan"))
    minutes: float = float("nan")
    money: float = float("nan")
    continuation: pd.DataFrame = field(default_factory=pd.DataFrame, repr=False, compare=False)
