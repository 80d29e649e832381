"""What is told about spread and rig drift: plain records. Nothing here computes."""

from __future__ import annotations

from dataclasses import dataclass, field

from optimiser.answers import Estimate

__all__ = ["Chart", "Component", "Drift", "MetricSpread", "Offset", "Sitting", "Spread"]


@dataclass(frozen=True)
class Component:
    """One source of spread of one metric.

    Parameters
    ----------
    source : str
        ``measurement`` (the same cone mounted again), ``print`` (the same recipe printed
        again), ``session`` (the same cone in another session); joined by ``and`` where the
        table cannot tell them apart; ``one new print`` for one measurement of a new print.
    sd : Estimate
        Standard deviation with its 90 % interval and the number of cones that tell it; NaN
        where the table cannot.
    degrees : float
        Degrees of freedom: independent comparisons behind it.
    measurements : int
        Measurements that those cones carry.
    remark : str
        What would tell it, or how to read it; may be empty.
    """

    source: str
    sd: Estimate
    degrees: float
    measurements: int
    remark: str = ""


@dataclass(frozen=True)
class MetricSpread:
    """The sources of spread of one metric.

    Parameters
    ----------
    metric, label : str
        Its name, and the name to show.
    unit : str
        Unit of the standard deviations: percent of the value where `relative`, else the
        metric's own.
    relative : bool
        Whether the metric was taken on its logarithm.
    components : list of Component
        Measurement, print, session; then those that cannot be told apart.
    combined : Component
        One measurement of one new print: the known sources together.
    expanded : float
        Half width around the recipe's mean that holds nine of ten such measurements; NaN
        while unknown.
    text : str
        One plain sentence.
    """

    metric: str
    label: str
    unit: str
    relative: bool
    components: list[Component]
    combined: Component
    expanded: float
    text: str

    def of(self, source: str) -> Component | None:
        """Give the component of a source; None if it is not among them."""
        return next((each for each in self.components if each.source == source), None)


@dataclass(frozen=True)
class Spread:
    """The spread of every metric; `cones` and `measurements` are all that were measured."""

    metrics: list[MetricSpread]
    cones: int
    measurements: int
    sessions: int
    notes: list[str]
    text: str


@dataclass(frozen=True)
class Chart:
    """An individuals control chart of one metric of the reference cone.

    Parameters
    ----------
    metric, label, unit : str
    sessions : list of str
        Sessions in which the reference cone was heard, in order.
    values : list of float
        Its reading in each: the mean of its measurements there.
    counts : list of int
        How many those were.
    centre, low, high : float
        Mean, and mean ± 2.66 times the mean moving range; the limits, `range_high` and `sd`
        are NaN below five readings.
    ranges : list of float
        Distance from the reading before; NaN for the first.
    range_high : float
        Upper limit of a moving range.
    outside, jumped : list of bool
        Readings beyond the limits; readings too far from the one before.
    sd : float
        The usual spread: mean moving range over 1.128.
    """

    metric: str
    label: str
    unit: str
    sessions: list[str]
    values: list[float]
    counts: list[int]
    centre: float
    low: float
    high: float
    ranges: list[float]
    range_high: float
    outside: list[bool]
    jumped: list[bool]
    sd: float

    @property
    def moved(self) -> list[bool]:
        """Which readings are off: beyond the limits, or jumped from one that was not.

        A reading that comes back from beyond the limits has jumped too, and is well again.
        """
        before = [False, *self.outside[:-1]]
        return [
            out or (jump and not earlier)
            for out, jump, earlier in zip(self.outside, self.jumped, before, strict=True)
        ]


@dataclass(frozen=True)
class Offset:
    """What a session adds to one metric, as the mixed model sees it.

    Parameters
    ----------
    session, metric : str
    unit : str
        Percent of the value where the metric is taken on its logarithm, else its own unit.
    offset : Estimate
        Against the average of the usual sessions that are tied together, with its 90 % interval
        and the number of cones heard there that tie it to another; NaN where none does.
    relative : bool
        Whether it is in percent of the value.
    told : bool
        Whether it is told from 0: the metric's sessions differ more than mountings do (F test,
        false discovery rate over the metrics 10 %) and its interval leaves 0 out. So a rig that
        never moves is said to have moved in at most one table of ten. Beside a session that is
        no usual one, the usual ones must differ by themselves as well.
    usual : bool
        Whether the session is one of those whose average offsets are taken against. All are,
        but for sessions that lie far from the median where the metric moves.
    tested : bool
        Whether it could have been told from 0: whether some mounting is left over that shows by
        how much mountings differ within a session.
    """

    session: str
    metric: str
    unit: str
    offset: Estimate
    relative: bool = False
    told: bool = False
    usual: bool = True
    tested: bool = True


@dataclass(frozen=True)
class Sitting:
    """The verdict on one session.

    Parameters
    ----------
    session : str
    verdict : {'steady', 'offset', 'shifted', 'too few sessions to tell', 'not charted'}
        'shifted': a reading of the reference cone left the chart's limits, or jumped. 'offset':
        none did, but some metric's offset is told from 0 (see `Offset`). 'steady': neither,
        from five readings of the reference cone on; below, 'too few sessions to tell'. 'not
        charted': the reference cone was not heard there, or none is named.
    text : str
        The verdict in plain words, with what to check. The distance from the chart's centre is
        the reading's own; an offset is drawn towards 0 where little tells it.
    """

    session: str
    verdict: str
    text: str


@dataclass(frozen=True)
class Drift:
    """How the rig moved from session to session.

    Parameters
    ----------
    reference : int or None
        The reference cone.
    charts : list of Chart
        One a metric that the reference cone carries and that ever changed.
    offsets : list of Offset
        Sessions in order, metrics in plan order.
    sittings : list of Sitting
        A verdict a session, in order.
    cones : int
        Cones heard in more than one session.
    notes : list of str
    text : str
        One plain sentence.
    """

    reference: int | None
    charts: list[Chart]
    offsets: list[Offset]
    sittings: list[Sitting]
    cones: int
    notes: list[str] = field(default_factory=list)
    text: str = ""
