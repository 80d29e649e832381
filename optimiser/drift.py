"""Whether the rig moves from session to session: the reference cone, charted, and offsets.

The chart judges the reference cone alone (`optimiser.control_chart`), by limits that come from
its own wander. The offsets (`optimiser.session_offsets`) are best linear predictors of the mixed
model behind `optimiser.spread`, and use every cone and every recipe that was heard in more than
one session. A rig is steady only where neither speaks. In simulated workshops their 90 % intervals
held 86 % to 94 %, and 83 % where nothing but the reference cone, once a session, told them
(tests/optimiser/test_drift_coverage.py).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import pandas as pd

from experiments.plan import Metric, Plan
from optimiser import wording
from optimiser.answers import Estimate
from optimiser.control_chart import FIRM_READINGS, LEAST_READINGS, individuals
from optimiser.repeats import Heard, hear
from optimiser.session_offsets import session_offsets
from optimiser.threads import one_thread
from optimiser.uncertainty import Chart, Drift, Offset, Sitting

__all__ = ["rig_drift"]

Progress = Callable[[float, str], None]

STEADY, OFFSET, SHIFTED = "steady", "offset", "shifted"
TOO_FEW, NOT_CHARTED = "too few sessions to tell", "not charted"

_SET_REFERENCE = (
    "No reference cone is named. Keep one cone, measure it in every session, and write its number "
    "into the plan: [sessions] reference_cone = 1."
)
_TOLD = (
    "An offset is told from 0 if the metric's sessions differ more than mountings do (F test; "
    "over all metrics at most one false alarm in ten) and its 90 % interval leaves 0 out. It is "
    "drawn towards 0 where little tells it, so it may be smaller than a reading's distance from "
    "the chart's centre."
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
    own = _own(heard, reference)
    charts = _charts(heard, reference, own, notes)
    offsets = session_offsets(heard, notes, progress=progress)
    notes += _blind(charts, offsets)
    judge = _Judge(plan, charts, offsets, list(dict.fromkeys(own["session"])))
    sittings = [judge.sitting(session) for session in heard.sessions]
    several = heard.table.groupby("cone")["session"].nunique() > 1
    if any(each.offset.known for each in offsets):
        notes.append(_TOLD)
    notes += _left_out(plan, offsets)
    return Drift(reference, charts, offsets, sittings, int(several.sum()), notes, judge.text())


def _own(heard: Heard, reference: int | None) -> pd.DataFrame:
    """Give the reference cone's measurements in named sessions."""
    table = heard.table
    names = [] if reference is None else [str(reference), f"{reference}.0"]
    return table[table["cone"].isin(names) & table["session"].notna()]


def _charts(
    heard: Heard, reference: int | None, own: pd.DataFrame, notes: list[str]
) -> list[Chart]:
    """Chart each metric that the reference cone carries and that ever changed."""
    if reference is None:
        notes.append(_SET_REFERENCE)
        return []
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
    return charts


def _blind(charts: list[Chart], offsets: list[Offset]) -> list[str]:
    """Say that a chart of few sessions does not see a shift in its middle, and what does."""
    if not charts:
        return []
    if not LEAST_READINGS <= max(len(each.values) for each in charts) < FIRM_READINGS:
        return []
    seen = " The offsets see it." if any(each.tested for each in offsets) else ""
    return [
        f"With fewer than {FIRM_READINGS} sessions only the first and the newest can leave the "
        f"limits; a shift in between widens them instead.{seen}"
    ]


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


@dataclass(frozen=True)
class _Judge:
    """What is known of the sessions, and the verdicts that follow.

    Parameters
    ----------
    plan : Plan
    charts : list of Chart
    offsets : list of Offset
    heard : list of str
        Sessions in which the reference cone was heard.
    """

    plan: Plan
    charts: list[Chart]
    offsets: list[Offset]
    heard: list[str]

    @property
    def looked(self) -> int:
        """How many offsets are known, and could be told from 0."""
        return sum(each.offset.known and each.tested for each in self.offsets)

    @property
    def readings(self) -> int:
        """Sessions on the fullest chart, or those of a reference cone that never changes."""
        return max([len(chart.values) for chart in self.charts], default=len(self.heard))

    def sitting(self, session: str) -> Sitting:
        """Judge one session by the charts, then by its offsets."""
        verdict, text = self._charted(session)
        told = [each for each in self.offsets if each.session == session and each.told]
        if verdict == SHIFTED or not told:
            return Sitting(session, verdict, text)
        off = ", ".join(f"{self._label(each)} {_off(each)}" for each in told)
        return Sitting(session, OFFSET, f"{text}, but {off} {self._average}")

    def _charted(self, session: str) -> tuple[str, str]:
        """Judge one session by the charts alone."""
        if self.plan.sessions.reference_cone is None:
            return NOT_CHARTED, "no reference cone is named"
        if session not in self.heard:
            return NOT_CHARTED, "the reference cone was not heard here"
        if len(self.heard) < 2:
            return TOO_FEW, "the reference cone was heard once; one more session is needed"
        if self.readings < LEAST_READINGS:
            return TOO_FEW, f"{LEAST_READINGS - self.readings} more needed for a chart"
        here = [
            (chart, chart.sessions.index(session))
            for chart in self.charts
            if session in chart.sessions and len(chart.values) >= LEAST_READINGS
        ]
        moved = [(chart, place) for chart, place in here if chart.moved[place]]
        if not moved:
            within = f"{_metrics(len(here))} within the chart's limits"
            return STEADY, within if here else "no reading changes"
        parts = [_shift(chart, place) + self._beside(chart, session) for chart, place in moved]
        checks = [_check(self.plan.metrics[chart.metric]) for chart, _ in moved]
        return SHIFTED, f"{'; '.join(parts)}; check {'; '.join(dict.fromkeys(checks))}"

    def _beside(self, chart: Chart, session: str) -> str:
        """Give the offset beside the reading's distance, where there is one."""
        for each in self.offsets:
            if (each.session, each.metric) == (session, chart.metric) and each.offset.known:
                return f" (its offset: {wording.interval(each.offset, _unit(each))})"
        return ""

    @property
    def _average(self) -> str:
        whose = "the sessions'" if all(each.usual for each in self.offsets) else "the usual ones'"
        return f"{whose} average"

    def _label(self, offset: Offset) -> str:
        return self.plan.metrics[offset.metric].label

    def text(self) -> str:
        """Say it in one or two plain sentences."""
        return f"{self._by_chart()}{self._by_offsets()}"

    def _by_chart(self) -> str:
        """Say what the charts tell; steady only where the offsets agree."""
        reference = self.plan.sessions.reference_cone
        if reference is None:
            return "Cannot chart the rig: no reference cone is named."
        if len(self.heard) < 2:
            often = "in one session; one more is needed" if self.heard else "in no session"
            return (
                "Cannot tell yet whether the reference cone's readings moved: cone "
                f"{reference} was heard {often}."
            )
        count = self.readings
        if count < LEAST_READINGS:
            return (
                f"Too few sessions to chart: reference cone {reference} was heard in {count} of "
                f"the {LEAST_READINGS} sessions needed. {_so_far(self.charts)}"
            )
        shifted = [each for each in self.heard if self._charted(each)[0] == SHIFTED]
        says = f"is shifted in {', '.join(shifted)}" if shifted else "is steady"
        if not shifted and any(each.told for each in self.offsets):
            says = "stays within its chart's limits, which its own wander sets, but it moves"
        elif not shifted and count < FIRM_READINGS:
            says = "is not seen to move"
        return f"By reference cone {reference}, heard in {count} sessions, the rig {says}."

    def _by_offsets(self) -> str:
        """Count the offsets that are told from 0 and name the clearest."""
        told = [each for each in self.offsets if each.told]
        if not self.looked and any(each.offset.known for each in self.offsets):
            return (
                " Whether any session's offset differs from 0 cannot be told: nothing shows how "
                "much mountings in one session differ. Mount the reference cone twice in one, or "
                "hear a second cone in two."
            )
        if not self.looked:
            return ""
        if not told:
            return f" No offset of a session is told from 0 ({self.looked} looked at)."
        largest: dict[str, Offset] = {}
        for each in sorted(told, key=lambda each: -abs(each.offset.mean)):
            largest.setdefault(each.metric, each)
        far = "; ".join(
            f"{self._label(each)} in {each.session}, {_off(each)}"
            for each in map(largest.get, self.plan.metrics)
            if each is not None
        )
        return (
            f" {len(told)} of {wording.many(self.looked, 'offset')} of sessions "
            f"{'is' if len(told) == 1 else 'are'} told from 0; the largest: {far} "
            f"{self._average}. The model takes such offsets out."
        )


def _left_out(plan: Plan, offsets: list[Offset]) -> list[str]:
    """Say which sessions are no part of the average that offsets are taken against."""
    wild: dict[str, list[str]] = {}
    for each in offsets:
        if not each.usual:
            wild.setdefault(each.session, []).append(plan.metrics[each.metric].label)
    if not wild:
        return []
    told = "; ".join(f"{session} of {', '.join(labels)}" for session, labels in wild.items())
    return [
        f"Offsets are taken against the average of the usual sessions, without {told}: too far "
        "from the median of the sessions (modified z-score over 3.5) to make up the average."
    ]


def _unit(offset: Offset) -> str:
    return "% of its value" if offset.relative else offset.unit


def _off(offset: Offset) -> str:
    """Write an offset as a distance: ``0.57 dB (0.38 to 0.69) above``."""
    far, below = offset.offset, offset.offset.mean < 0
    if below:
        far = Estimate(-far.mean, -far.high, -far.low, far.cones)
    return f"{wording.interval(far, _unit(offset))} {'below' if below else 'above'}"


def _metrics(count: int) -> str:
    return "1 metric" if count == 1 else f"all {count} metrics"


def _so_far(charts: list[Chart]) -> str:
    """Say what few sessions can say: how far the readings lie apart."""
    if not charts:
        return "So far its readings are all the same."
    far = [
        f"{chart.label} {_amount(max(chart.values) - min(chart.values), chart)}"
        for chart in charts
    ]
    return f"So far its readings lie apart by {', '.join(far)}."


def _shift(chart: Chart, place: int) -> str:
    """Say by how much a reading is off."""
    if chart.outside[place]:
        off = _amount(chart.values[place] - chart.centre, chart, sign=True)
        usual = _amount(chart.sd, chart)
        return f"{chart.label} {off} from the chart's centre against the usual spread of {usual}"
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
