"""What is told about ageing: plain records. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from optimiser.answers import Estimate

__all__ = [
    "Ageing",
    "Crossing",
    "Effect",
    "LawChoice",
    "Lines",
    "MetricAgeing",
    "Score",
    "Setting",
    "Visit",
]

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class LawChoice:
    """Which law the drift follows.

    Parameters
    ----------
    law : {'linear', 'logarithmic', 'saturating'} or None
        None where the table cannot tell them apart.
    weights : dict of str to float
        Probability of each law; the intervals are averaged with them.
    lead : float
        By how much its log predictive density of what was left out exceeds the next law's;
        NaN where nothing could be left out.
    text : str
    """

    law: str | None
    weights: dict[str, float]
    lead: float
    text: str


@dataclass(frozen=True)
class Crossing:
    """When one kept cone leaves what the plan allows.

    Parameters
    ----------
    cone : str
    bound : str
        Such as ``limit >= 4`` or ``poor, 4``.
    time : Estimate
        Median and 90 % interval; infinite where the cone is not expected to cross within the
        horizon, NaN where nothing can be told.
    not_before : float
        With 90 % it is not crossed before; NaN while unknown.
    text : str
    """

    cone: str
    bound: str
    time: Estimate
    not_before: float
    text: str


@dataclass(frozen=True)
class Setting:
    """Whether a setting changes how fast a metric drifts.

    Parameters
    ----------
    variable, contrast : str
        Name, and what is compared: ``resin against filament``, or ``per 10 min more``.
    effect : Estimate
        What it adds to the drift from the first time to the longest; NaN while unknown.
    told : bool
        Whether its interval, widened for the number of settings looked at, leaves 0 out.
    text : str
    """

    variable: str
    contrast: str
    effect: Estimate
    told: bool
    text: str


@dataclass(frozen=True)
class Effect:
    """What a climate does to a metric, the same to every cone; taken out of the drift.

    Parameters
    ----------
    name : str
        Column of the table.
    step : float
    unit : str
        What `effect` is for: so much more, and its unit.
    effect : Estimate
        In the unit of the drift.
    text : str
    """

    name: str
    step: float
    unit: str
    effect: Estimate
    text: str


@dataclass(frozen=True)
class Lines:
    """The kept cones over time, for the picture; all in the metric's unit.

    Parameters
    ----------
    cones : list of str
    times, values : list of ndarray
        Each cone's measurements.
    unit : str
    grid : ndarray of shape (m,)
    mean, low, high : ndarray of shape (cones, m)
        Each cone's own value; NaN where nothing can be told.
    bound : float
        The limit or poor; NaN if there is none.
    """

    cones: list[str]
    times: list[Floats]
    values: list[Floats]
    unit: str
    grid: Floats
    mean: Floats
    low: Floats
    high: Floats
    bound: float


@dataclass(frozen=True)
class MetricAgeing:
    """How one metric ages.

    Parameters
    ----------
    metric, label, unit : str
        `unit` is that of the drifts: percent of the value where `relative`, else its own.
    relative : bool
    step : float
        Time after which `early` is told, at most what was seen.
    early, whole : Estimate
        Mean drift over cones after `step`, and from the first time to the longest seen, with the
        number of cones heard at several ages.
    measurements : int
        Measurements of the cones heard at several ages.
    verdict : str
        ``drifts up``, ``drifts down``, ``no drift told``; over a climate ``rises``, ``falls``,
        ``no dependence told``; ``cannot tell yet``.
    law : LawChoice or None
        None over a climate.
    crossings : list of Crossing
    settings : list of Setting
    lines : Lines or None
    text : str
    beside : list of Effect
    """

    metric: str
    label: str
    unit: str
    relative: bool
    step: float
    early: Estimate
    whole: Estimate
    measurements: int
    verdict: str
    law: LawChoice | None
    crossings: list[Crossing]
    settings: list[Setting]
    lines: Lines | None = field(repr=False, compare=False)
    text: str
    beside: list[Effect] = field(default_factory=list)


@dataclass(frozen=True)
class Visit:
    """A cone to measure next, and when.

    Parameters
    ----------
    cone : str
    time : float
    gain : float
        Share by which one such measurement is expected to lower the variance of the mean drifts
        (mean over metrics); NaN where nothing could be worked out.
    """

    cone: str
    time: float
    gain: float


@dataclass(frozen=True)
class Score:
    """A kept cone's score when last heard, after a stated time, and the difference.

    Parameters
    ----------
    cone : str
    last : float
        Time at which it was last heard.
    now, then, change : Estimate
    """

    cone: str
    last: float
    now: Estimate
    then: Estimate
    change: Estimate


@dataclass(frozen=True)
class Ageing:
    """How kept cones age, or follow the climate.

    Parameters
    ----------
    by : {'light_hours', 'age_days', 'temperature_c', 'humidity_percent'}
    unit : str
        Of what `by` names.
    metrics : list of MetricAgeing
        In plan order.
    first, longest : float
        Times between which cones were heard at several ages; NaN while none was.
    visits : list of Visit
        What to measure next, the most telling first.
    at : float or None
        For which time `scores` were asked.
    scores : list of Score
    cones : int
        Cones heard at several ages.
    notes : list of str
    text : str
    """

    by: str
    unit: str
    metrics: list[MetricAgeing]
    first: float
    longest: float
    visits: list[Visit]
    at: float | None
    scores: list[Score]
    cones: int
    notes: list[str]
    text: str
