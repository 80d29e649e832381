"""Whether the rig moves from session to session: the reference cone, charted, and offsets.

The chart judges the reference cone alone (`optimiser.control_chart`). The offsets are best linear
predictors of the mixed model behind `optimiser.spread`, and use every cone and every recipe that
was heard in more than one session. In simulated workshops their 90 % intervals held 86 % to 94 %,
and 83 % where nothing but the reference cone, once a session, told them
(tests/optimiser/test_drift_coverage.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pandas as pd

from experiments.plan import Metric, Plan
from optimiser import wording
from optimiser.answers import Estimate
from optimiser.control_chart import FIRM_READINGS, LEAST_READINGS, individuals
from optimiser.effects import predict_effects
from optimiser.mixed import MixedModel
from optimiser.repeats import Heard, Tied, hear, tie
from optimiser.scales import change_in_percent
from optimiser.sources import tied_model
from optimiser.threads import one_thread
from optimiser.uncertainty import Chart, Drift, Offset, Sitting

__all__ = ["rig_drift"]

Progress = Callable[[float, str], None]

STEADY, SHIFTED = "steady", "shifted"
TOO_FEW, NOT_CHARTED = "too few sessions to tell", "not charted"

_SET_REFERENCE = (
    "No reference cone is named. Keep one cone, measure it in every session, and write its number "
    "into the plan: [sessions] reference_cone = 1."
)
# What to look at when the reference cone reads otherwise: common practice, no source.
_CHECK = {
    "level_db": "microphone, its distance and the drive level",
    "lower_limit_hz": "how the cone is clamped and the microphone's place",
    "upper_limit_hz": "microphone's place and the room's temperature",
    "deviation_db": "microphone's place and what stands near the platform",
    "deviation_sd_db": "microphone's place and what stands near the platform",
    "breakup_hz": "how the cone is clamped and the room's temperature",
    "breakup_q": "how the cone is clamped and the room's temperature",
    "thd_peak_percent": "drive level and amplifier",
    "thd_peak_hz": "drive level and amplifier",
    "decay_ms": "how the cone is clamped",
    "mass_g": "scale",
}
_CHECK_DISTORTION, _CHECK_OTHER = "drive level and amplifier", "how it is measured"


@one_thread
def rig_drift(plan: Plan, trials: pd.DataFrame, *, progress: Progress | None = None) -> Drift:
    """Say how the rig moved from session to session.

    Parameters
    ----------
    plan : Plan
        Its ``sessions.reference_cone`` is charted.
    trials : DataFrame
        One row a measurement (see `Ledger.table`). With a column ``measurement``, as
        `Ledger.wide_table` has it, sessions are in the order of measuring.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Drift

    Raises
    ------
    TrialsError
        A table that does not fit the plan.
    """
    heard = hear(plan, trials)
    reference = plan.sessions.reference_cone
    notes = list(heard.notes)
    charts = _charts(heard, reference, notes)
    offsets: list[Offset] = []
    for place, metric in enumerate(plan.metrics.values()):
        if progress:
            progress(place / len(plan.metrics), f"session offsets of {metric.name}")
        offsets += _offsets(heard, metric, notes)
    order = {session: place for place, session in enumerate(heard.sessions)}
    offsets.sort(key=lambda offset: order[offset.session])
    sittings = [_sitting(session, charts, plan) for session in heard.sessions]
    several = heard.table.groupby("cone")["session"].nunique() > 1
    text = _text(reference, charts, sittings)
    return Drift(reference, charts, offsets, sittings, int(several.sum()), notes, text)


def _charts(heard: Heard, reference: int | None, notes: list[str]) -> list[Chart]:
    """Chart each metric that the reference cone carries and that ever changed."""
    if reference is None:
        notes.append(_SET_REFERENCE)
        return []
    table = heard.table
    own = table[table["cone"].isin([str(reference), f"{reference}.0"])]
    own = own[own["session"].notna()]
    if not len(own):
        notes.append(
            f"Reference cone {reference} has no measurement in a named session: measure it in "
            "every session."
        )
        return []
    _note_ageing(own, reference, notes)
    charts = []
    for metric in heard.plan.metrics.values():
        chart = _chart(heard, metric, own)
        if len(chart.values) > 1 and max(chart.values) > min(chart.values):
            charts.append(chart)
        elif len(chart.values) > 1:
            notes.append(f"{metric.label}: the reference cone reads the same every time.")
    if charts and LEAST_READINGS <= max(len(each.values) for each in charts) < FIRM_READINGS:
        notes.append(
            f"With fewer than {FIRM_READINGS} sessions only the first and the newest can leave "
            "the limits; a shift in between widens them instead. The offsets see it."
        )
    return charts


def _note_ageing(own: pd.DataFrame, reference: int, notes: list[str]) -> None:
    """Say that a cone which ages looks like a rig that drifts."""
    days = own["age_days"].max() - own["age_days"].min()
    if own["item"].nunique() > 1:
        notes.append(
            f"Reference cone {reference} got light between sessions, so its own ageing is in the "
            "chart: keep it in the dark."
        )
    elif days > 0:
        notes.append(
            f"The readings of reference cone {reference} span {days:.0f} days; a slow trend may "
            "be its own ageing."
        )


def _chart(heard: Heard, metric: Metric, own: pd.DataFrame) -> Chart:
    """Chart one metric: the reference cone's mean reading a session."""
    groups = own.dropna(subset=[metric.name]).groupby("session")[metric.name]
    means, counts = groups.mean(), groups.count()
    sessions = [session for session in heard.sessions if session in means.index]
    values = [float(means[session]) for session in sessions]
    found = individuals(values)
    # Fewer readings carry no limits; a chart then shows the readings alone.
    blank = math.nan if len(values) < LEAST_READINGS else 0.0
    return Chart(
        metric=metric.name,
        label=metric.label,
        unit=metric.unit,
        sessions=sessions,
        values=values,
        counts=[int(counts[session]) for session in sessions],
        centre=found.centre,
        low=found.low + blank,
        high=found.high + blank,
        ranges=found.ranges.tolist(),
        range_high=found.range_high + blank,
        outside=found.outside.tolist(),
        jumped=found.jumped.tolist(),
        sd=found.sd + blank,
    )


def _offsets(heard: Heard, metric: Metric, notes: list[str]) -> list[Offset]:
    """Predict what each session adds to a metric, with every cone that ties it to another."""
    tied, model = tied_model(tie(heard, metric.name))
    unit = "%" if tied.logarithmic else metric.unit
    found: dict[str | None, Estimate] = {}
    if model is not None and "session" in model.names:
        if model.varies:
            found = _predicted(tied, model)
        else:
            notes.append(f"{metric.label}: no repeat differs, so no session's offset is seen.")
    nothing = Estimate(math.nan, math.nan, math.nan, 0)
    return [
        Offset(session, metric.name, unit, found.get(session, nothing), tied.logarithmic)
        for session in heard.sessions
    ]


def _predicted(tied: Tied, model: MixedModel) -> dict[str | None, Estimate]:
    """Tell the effects of the sessions that are tied to another one, less their average."""
    told = model.tied("session")
    predicted = predict_effects(model, "session", np.diag(1.0 * told) - told / told.sum())
    found: dict[str | None, Estimate] = {}
    for place in np.flatnonzero(told):
        here = np.unique(tied.group[tied.session == place])
        elsewhere = np.unique(tied.group[tied.session != place])
        shared = np.isin(tied.group, np.intersect1d(here, elsewhere)) & (tied.session == place)
        ends = [float(each[place]) for each in (predicted.mean, predicted.low, predicted.high)]
        if tied.logarithmic:
            ends = [change_in_percent(end) for end in ends]
        cones = len(np.unique(tied.item[shared]))
        found[tied.sessions[place]] = Estimate(ends[0], ends[1], ends[2], cones)
    return found


def _sitting(session: str, charts: list[Chart], plan: Plan) -> Sitting:
    """Judge one session by the charts."""
    here = [
        (chart, chart.sessions.index(session)) for chart in charts if session in chart.sessions
    ]
    if plan.sessions.reference_cone is None:
        return Sitting(session, NOT_CHARTED, "no reference cone is named")
    if not here:
        return Sitting(session, NOT_CHARTED, "the reference cone was not heard here")
    enough = [(chart, place) for chart, place in here if len(chart.values) >= LEAST_READINGS]
    if not enough:
        lacking = LEAST_READINGS - max(len(chart.values) for chart, _ in here)
        return Sitting(session, TOO_FEW, f"{lacking} more needed")
    moved = [(chart, place) for chart, place in enough if chart.moved[place]]
    if not moved:
        return Sitting(session, STEADY, f"{_metrics(len(enough))} within the limits")
    parts = [_shift(chart, place) for chart, place in moved]
    checks = [_check(plan.metrics[chart.metric]) for chart, _ in moved]
    return Sitting(
        session, SHIFTED, f"{'; '.join(parts)}; check {'; '.join(dict.fromkeys(checks))}"
    )


def _metrics(count: int) -> str:
    return "1 metric" if count == 1 else f"all {count} metrics"


def _so_far(charts: list[Chart]) -> str:
    """Say what few sessions can say: how far the readings lie apart."""
    far = [
        f"{chart.label} {_amount(max(chart.values) - min(chart.values), chart)}"
        for chart in charts
    ]
    return f"So far its readings lie apart by {', '.join(far)}."


def _shift(chart: Chart, place: int) -> str:
    """Say by how much a reading is off."""
    if chart.outside[place]:
        off = _amount(chart.values[place] - chart.centre, chart, sign=True)
        return f"{chart.label} {off} against the usual spread of {_amount(chart.sd, chart)}"
    off = _amount(chart.values[place] - chart.values[place - 1], chart, sign=True)
    usual = _amount(chart.range_high, chart)
    return f"{chart.label} {off} from the session before, where up to {usual} is usual"


def _amount(value: float, chart: Chart, *, sign: bool = False) -> str:
    """Write a difference in the metric's unit, with two digits of the usual spread."""
    text = wording.number(value, chart.sd if chart.sd > 0 else abs(value))
    # A change of a percentage is no percent of it.
    unit = "percentage points" if chart.unit == "%" else chart.unit
    return wording.with_unit(f"+{text}" if sign and value > 0 else text, unit)


def _check(metric: Metric) -> str:
    if metric.measure.startswith("hd"):
        return _CHECK_DISTORTION
    return _CHECK.get(metric.measure, _CHECK_OTHER)


def _text(reference: int | None, charts: list[Chart], sittings: list[Sitting]) -> str:
    """One plain sentence."""
    if reference is None:
        heard = wording.many(len(sittings), "session")
        return f"Cannot chart the rig: no reference cone is named ({heard})."
    if not charts:
        return (
            f"Cannot tell yet whether the rig moved: reference cone {reference} was not heard in "
            "two sessions."
        )
    count = max(len(chart.values) for chart in charts)
    if count < LEAST_READINGS:
        return (
            f"Too few sessions to tell: reference cone {reference} was heard in {count} of the "
            f"{LEAST_READINGS} sessions needed. {_so_far(charts)}"
        )
    shifted = [sitting.session for sitting in sittings if sitting.verdict == SHIFTED]
    says = f"shifted in {', '.join(shifted)}" if shifted else "steady"
    return f"By reference cone {reference}, heard in {count} sessions, the rig is {says}."
