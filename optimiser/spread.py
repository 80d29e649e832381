"""How far measurements scatter: when a cone is heard again, printed again, in another session.

A linear mixed model a metric (`optimiser.mixed`): a mean for each recipe, random sessions, random
cones within the recipe, residuals; by restricted maximum likelihood. Intervals by the profile of
the likelihood (`optimiser.profiles`). In simulated workshops the 90 % intervals held 85 % to
96 % (tests/optimiser/test_spread_coverage.py): least for the measurement where it rests on two
comparisons and noise rules, most where a source is small beside the others.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pandas as pd

from experiments.plan import Metric, Plan
from optimiser import wording
from optimiser.answers import Estimate
from optimiser.budget import combine
from optimiser.one_way_analysis import pooled_interval
from optimiser.repeats import Heard, Tied, hear, tie
from optimiser.scales import change_in_percent, spread_in_percent
from optimiser.sources import Part, Sources, behind, split
from optimiser.threads import one_thread
from optimiser.uncertainty import Component, MetricSpread, Spread

__all__ = ["estimate_spread"]

Progress = Callable[[float, str], None]

_SINGLE = ("measurement", "print", "session")
_SHARE = 0.9
_NONE_SEEN = (
    "The estimate came out at zero or below and is shown as 0: so small a part cannot be seen yet."
)


@one_thread
def estimate_spread(
    plan: Plan, trials: pd.DataFrame, *, progress: Progress | None = None
) -> Spread:
    """Say how far each metric's measurements scatter, and why.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Spread
        For each metric of the plan the standard deviation from measurement to measurement of a
        cone, from print to print of a recipe and from session to session, each with its 90 %
        interval. NaN and a remark where the table carries no repeats or replicates.

    Raises
    ------
    TrialsError
        A table that does not fit the plan.
    """
    heard = hear(plan, trials)
    table = heard.table
    metrics = []
    for place, metric in enumerate(plan.metrics.values()):
        if progress:
            progress(place / len(plan.metrics), f"splitting the spread of {metric.name}")
        metrics.append(_metric_spread(heard, metric))
    cones, sessions = int(table["cone"].nunique()), len(heard.sessions)
    known = sum(1 for each in metrics if any(part.sd.known for part in each.components))
    text = (
        f"From {len(table)} measurements of {cones} cones in {wording.many(sessions, 'session')}: "
        f"{known} of {len(metrics)} metrics have a spread that can be told."
        if known
        else "Cannot tell yet how far measurements scatter: among "
        f"{wording.many(len(table), 'measurement')} of {wording.many(cones, 'cone')} nothing was "
        "measured or printed twice."
    )
    return Spread(metrics, cones, len(table), sessions, [*heard.notes, *_ageing(heard)], text)


def _ageing(heard: Heard) -> list[str]:
    """Say which cones count as others because light has aged them."""
    first = heard.table.groupby("cone", sort=False)["item"].nunique()
    aged = [str(cone) for cone in first.index[first > 1]]
    if not aged:
        return []
    cones = f"Cone{'' if len(aged) == 1 else 's'} {', '.join(aged)}"
    return [
        f"{cones} got light between two hearings: the difference is ageing and is not counted as "
        "spread."
    ]


def _metric_spread(heard: Heard, metric: Metric) -> MetricSpread:
    """Split one metric's spread and tell it in its unit."""
    tied = tie(heard, metric.name)
    sources = split(tied)
    unit = "%" if tied.logarithmic else metric.unit
    components = [_component(tied, sources, name) for name in _SINGLE]
    components += [_component(tied, sources, name) for name in sources.parts if " " in name]
    combined, expanded = _combined(tied, sources)
    text = _text(metric.label, unit, components, expanded)
    return MetricSpread(
        metric.name, metric.label, unit, tied.logarithmic, components, combined, expanded, text
    )


def _component(tied: Tied, sources: Sources, name: str) -> Component:
    part = sources.parts.get(name)
    cones, measurements = behind(tied, name)
    if part is None:
        nothing = Estimate(math.nan, math.nan, math.nan, cones)
        return Component(name, nothing, 0, measurements, sources.lacking[name])
    ends = (part.variance, part.low, part.high)
    mean, low, high = (_told(tied, math.sqrt(variance)) for variance in ends)
    remark = _NONE_SEEN if part.variance <= 1e-9 * max(part.high, 1e-300) else ""
    return Component(name, Estimate(mean, low, high, cones), part.degrees, measurements, remark)


def _told(tied: Tied, sd: float) -> float:
    """Turn a standard deviation of the learnt scale into what is told."""
    return spread_in_percent(sd) if tied.logarithmic else sd


def _combined(tied: Tied, sources: Sources) -> tuple[Component, float]:
    """Combine what one measurement of one new print is subject to (`optimiser.budget`).

    The estimated parts are taken as independent; those of one table lean against each other,
    so the degrees of freedom come out rather too few than too many.
    """
    parts = sources.parts
    names = ["measurement", "print"] if {"measurement", "print"} <= set(parts) else []
    if not names:
        names = [name for name in parts if name.startswith("print") and " " in name][:1]
    if names and "session" in parts:
        names.append("session")
    cones, measurements = behind(tied, "print")
    if not names:
        nothing = Estimate(math.nan, math.nan, math.nan, cones)
        remark = "Needs a recipe that was printed twice."
        return Component("one new print", nothing, 0, measurements, remark), math.nan
    used: list[Part] = [parts[name] for name in names]
    found = combine([math.sqrt(p.variance) for p in used], [p.effective for p in used])
    low, high = pooled_interval(found.uncertainty, found.degrees, _SHARE)
    mean, low, high = (_told(tied, sd) for sd in (found.uncertainty, low, high))
    half = found.expanded(_SHARE)
    component = Component(
        "one new print", Estimate(mean, low, high, cones), found.degrees, measurements,
        f"{', '.join(names)} together",
    )  # fmt: skip
    return component, change_in_percent(half) if tied.logarithmic else half


def _text(label: str, unit: str, components: list[Component], expanded: float) -> str:
    """One plain sentence; a second one for what a new print carries."""
    says = {
        "measurement": "a cone mounted again",
        "print": "a recipe printed again",
        "session": "from session to session",
        "print and measurement": "a recipe printed and measured again",
        "session and measurement": "a cone measured again in another session",
        "print, session and measurement": "a recipe printed again and measured in another session",
    }
    parts = [
        f"{says[each.source]} {wording.interval(each.sd, unit)}"
        for each in components
        if each.sd.known
    ]
    unknown = [each.source for each in components if not each.sd.known]
    sentence = f"{label[:1].upper()}{label[1:]} scatters (standard deviation, 90 % interval): "
    sentence += "; ".join(parts) if parts else "cannot tell yet"
    if parts and unknown:
        sentence += f"; {', '.join(unknown)} alone: cannot tell yet"
    if np.isfinite(expanded):
        half = wording.with_unit(wording.number(expanded, expanded), unit)
        sentence += f". One measurement of a new print lies within ± {half} of its recipe's mean "
        sentence += "nine times in ten"
    return sentence + "."
