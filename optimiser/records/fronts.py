"""The front between metrics that pull apart."""

from __future__ import annotations

from dataclasses import dataclass

from optimiser.records.estimates import Calibration, Estimate, Settings

__all__ = ["Front", "Member"]


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
