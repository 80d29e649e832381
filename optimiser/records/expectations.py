"""What is expected of a recipe: its metrics and its whole curves."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pandas as pd

from optimiser.records.estimates import UNTOLD, Calibration, Estimate, Settings

__all__ = ["Agreement", "CurveBand", "CurveCheck", "Expectation"]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class CurveBand:
    """One foretold curve.

    Parameters
    ----------
    name : str
        ``response``, ``thd``, ``hd2`` to ``hd5`` or ``decay``.
    x : ndarray of shape (n,)
        Hz, or ms since the largest magnitude.
    unit : str
        ``dB`` or ``%``.
    mean, low, high : ndarray of shape (n,)
        Expected value (of percentages that of the logarithm) and the 90 % band of one new
        measurement of a new cone, at each point by itself.
    middle : ndarray of shape (n,)
        The curve whose every part is as expected: where a peak's place is not known the mean is
        smeared, this one is not.
    cones, components : int
        Cones it is learnt from, and components used.
    registered : bool
        Whether peaks were brought to one place before.
    measured : ndarray of shape (n,) or None
        What the cone really gave, where it was measured; NaN without data.
    """

    name: str
    x: Floats
    unit: str
    mean: Floats
    low: Floats
    high: Floats
    middle: Floats
    cones: int = 0
    components: int = 0
    registered: bool = False
    measured: Floats | None = None


@dataclass(frozen=True)
class CurveCheck:
    """How well curves of left-out cones are foretold; all in dB, percentages too.

    Parameters
    ----------
    name : str
        As in `CurveBand`.
    cones : int
        Cones left out in turn.
    inside : float
        Share of all points that lie inside the 90 % band.
    error : float
        Root mean square miss over cones and points.
    usual : float
        The median over cones of each one's root mean square miss.
    spread : float
        The miss of the other cones' mean curve: `error` without a model.
    prints : float
        Standard deviation of cones of one recipe, from recipes that were printed again, each
        cone's first measurement; NaN where there is none.
    pairs : int
        How many cones beyond the first of their recipe stand behind `prints`.
    again : float
        The same as the model has it.
    table : DataFrame
        ``cone, error, inside``.
    """

    name: str
    cones: int
    inside: float
    error: float
    usual: float
    spread: float
    prints: float
    pairs: int
    again: float
    table: pd.DataFrame = field(repr=False, compare=False)


@dataclass(frozen=True)
class Agreement:
    """A metric as its own model foretells it, and as it reads from the foretold curves.

    Parameters
    ----------
    metric, label, unit : str
    foretold : Estimate
        By the metric's own model.
    middle, mean : float
        Read from the middle curve and from the mean curve by the plan's definition; NaN where
        the curve does not carry it.
    """

    metric: str
    label: str
    unit: str
    foretold: Estimate
    middle: float
    mean: float

    @property
    def agrees(self) -> bool | None:
        """Whether the middle curve reads within the 90 % interval; None where nothing is known."""
        if not self.foretold.known or self.middle != self.middle:
            return None
        return self.foretold.low <= self.middle <= self.foretold.high


@dataclass(frozen=True)
class Expectation:
    """What one recipe is expected to measure.

    Parameters
    ----------
    settings : dict
        The recipe.
    cone : str or None
        The cone that was left out to foretell it; None for a recipe.
    prints : float
        Probability that it prints at all; NaN while nothing is known of failures.
    expected : dict of str to Estimate
        Each metric's 90 % interval of a new measurement of a new cone.
    measured : dict of str to float
        What the cone gave in its first measurement; empty for a recipe.
    score, seen_score : Estimate, float
        The same of the score; NaN where it is not known.
    curves : dict of str to CurveBand
        Empty while there are too few cones.
    agreements : list of Agreement
        For every metric of the plan that a curve carries.
    checks : list of CurveCheck
        Of the curves.
    cones : int
        Measured cones.
    text : str
        Plain sentences.
    calibration : list of Calibration
        Of the metrics.
    notes : list of str
        What could not be said.
    printing : Estimate
        `prints` with the 90 % interval of the share of its prints that come off, and the number of
        prints behind it.
    """

    settings: Settings
    cone: str | None
    prints: float
    expected: dict[str, Estimate]
    measured: dict[str, float]
    score: Estimate
    seen_score: float
    curves: dict[str, CurveBand]
    agreements: list[Agreement]
    checks: list[CurveCheck]
    cones: int
    text: str
    calibration: list[Calibration] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    printing: Estimate = UNTOLD
