"""Whether one recipe beats another."""

from __future__ import annotations

from dataclasses import dataclass, field

from optimiser.records.estimates import Calibration, Estimate, Settings

__all__ = ["Comparison", "Paired", "Twin"]


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
class Twin:
    """How far two cones of one recipe lie apart in a metric, as measured.

    Parameters
    ----------
    metric : str
    difference : float
        Mean of the first cone's measurements less that of the second's.
    usual : float
        Within how much nine of ten such pairs lie, each cone measured once: by the scatter that
        the model learnt, that of sessions included unless both were heard in one.
    """

    metric: str
    difference: float
    usual: float


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
    same : bool
        Whether both sides are one recipe, of which nothing can differ but by printing and
        measuring.
    twins : list of Twin
        What two such cones gave, where two were named.
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
    same: bool = False
    twins: list[Twin] = field(default_factory=list)

    @property
    def rows(self) -> dict[str, Estimate]:
        """The score's difference, then each metric's; once, where a metric is the score."""
        score = (self.score.mean, self.score.low, self.score.high)
        if score in [(each.mean, each.low, each.high) for each in self.difference.values()]:
            return self.difference
        return {"score": self.score, **self.difference}
