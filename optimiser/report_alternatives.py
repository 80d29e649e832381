"""What each picture of a report shows, in words and numbers, for those who cannot see it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np

from optimiser import wording
from optimiser.ageing_records import Ageing
from optimiser.answers import (
    Calibration,
    Comparison,
    DeadEnds,
    Estimate,
    Front,
    Knob,
    Optimum,
    Outlook,
    Sensitivity,
)
from optimiser.curve_wording import CURVE_NAMES
from optimiser.figures import Line
from optimiser.figures.style import Floats, hertz
from optimiser.material import Material
from optimiser.records.expectations import Expectation
from optimiser.records.production import Recommendation
from optimiser.uncertainty import Drift

if TYPE_CHECKING:
    import pandas as pd

__all__ = [
    "ageing_words",
    "calibration_words",
    "comparison_words",
    "curve_words",
    "dead_end_words",
    "drift_words",
    "effect_words",
    "foretold_words",
    "front_words",
    "history_words",
    "impulse_words",
    "index_words",
    "interaction_words",
    "optimum_words",
    "outlook_words",
    "recommendation_words",
]

_TOLD = 6  # knobs, recipes or sessions that are told one by one

Labels = Mapping[str, str]


def _name(labels: Labels, name: str) -> str:
    return labels.get(name, name.replace("_", " "))


def _between(values: Floats, unit: str = "") -> str:
    """Write the ends of what is drawn."""
    known = np.asarray(values, dtype=float)
    known = known[np.isfinite(known)]
    if not known.size:
        return "nothing that could be drawn"
    width = float(np.ptp(known)) or abs(float(known[0])) or 1.0
    low, high = (wording.number(float(end), width) for end in (known.min(), known.max()))
    return wording.with_unit(f"{low} to {high}", unit)


def _rest(count: int, what: str) -> str:
    left = count - _TOLD
    return f"; and {wording.many(left, what)} more" if left > 0 else ""


def history_words(material: Material, name: str, unit: str, failed: Sequence[int]) -> str:
    """Tell the score of each cone and the best so far."""
    scores = material.scores[np.isfinite(material.scores)]
    if not scores.size:
        return "An empty frame: no cone has a score yet."
    text = (
        f"Dots over the cone number: the {name} of {wording.many(len(scores), 'measurement')}, "
        f"{_between(scores, unit)}, and a line of the best so far"
    )
    if material.leader is not None:
        text += f"; cone {material.leader.cone} is ringed, the best as expected"
    if failed:
        text += f"; crosses for failed cones {', '.join(map(str, failed))}"
    return f"{text}."


def outlook_words(answer: Outlook, name: str, unit: str) -> str:
    """Tell the best so far, what is expected of more cones, and how near the best is."""
    best = answer.history["best"].to_numpy(float) if len(answer.history) else np.array([])
    if not np.isfinite(best).any():
        return "An empty frame: no cone has a score yet."
    text = (
        f"Left, a step line: the best measured {name} after each of {len(best)} cones, from "
        f"{wording.number(best[0])} to {wording.with_unit(wording.number(best[-1]), unit)}"
    )
    ahead = answer.continuation
    if len(ahead):
        last = ahead.iloc[-1]
        reached = Estimate(last["best"], last["low"], last["high"])
        text += (
            "; then a dashed line in its band: the true best expected, "
            f"{wording.interval(reached, unit)} after {int(last['more'])} more"
        )
    bars = ", ".join(
        f"{wording.percent(chance)} within {100 * share:g} %"
        for share, chance in sorted(answer.within.items())
    )
    return f"{text}. Right, bars: how likely the best cone is near the best recipe: {bars}."


def curve_words(lines: Sequence[Line], quantity: str, unit: str, best: int | None) -> str:
    """Tell what lines over frequency span."""
    if not lines:
        return f"An empty frame: no {quantity} was recorded."
    ends = np.concatenate([np.asarray(line.x, dtype=float)[[0, -1]] for line in lines])
    values = np.concatenate([np.asarray(line.y, dtype=float) for line in lines])
    front = f"; cone {best} is the strong line in front" if best is not None else ""
    return (
        f"{wording.many(len(lines), 'line')} of {quantity} over frequency, "
        f"{hertz(float(ends.min()), unit=True)} to {hertz(float(ends.max()), unit=True)}: "
        f"{_between(values, unit)}{front}."
    )


def impulse_words(line: Line | None, decay_ms: float) -> str:
    """Tell how long an impulse response rings."""
    if line is None:
        return "An empty frame: no impulse response was recorded."
    ends = f"; it falls below 5 % of its peak after {decay_ms:.3g} ms"
    return (
        "A line that rings and dies away over the time since its peak, the envelope around it"
        f"{ends if np.isfinite(decay_ms) else ''}."
    )


def index_words(answer: Sensitivity, labels: Labels) -> str:
    """Tell the largest Sobol indices."""
    known = [knob for knob in answer.knobs if knob.total.known]
    if not known:
        return f"An empty frame: {wording.many(answer.cones, 'cone')} cannot tell indices yet."
    told = "; ".join(
        f"{_name(labels, knob.variable)} {wording.interval(knob.total, most=2)}"
        for knob in known[:_TOLD]
    )
    return (
        f"A dot on its 90 % interval for each knob, total index from the top down: {told}"
        f"{_rest(len(known), 'knob')}. Open dots: what each does alone."
    )


def effect_words(answer: Sensitivity, labels: Labels) -> str:
    """Tell where each knob's main effect goes."""
    known = [knob for knob in answer.knobs if len(knob.effect)]
    if not known:
        return f"An empty frame: {wording.many(answer.cones, 'cone')} cannot tell effects yet."
    told = "; ".join(_course(knob, labels) for knob in known[:_TOLD])
    return (
        f"A panel a knob, mean {_name(labels, answer.metric)} over its settings: {told}"
        f"{_rest(len(known), 'knob')}."
    )


def _course(knob: Knob, labels: Labels) -> str:
    """Tell the lowest and the highest mean of an effect."""
    mean = knob.effect["mean"].to_numpy(float)
    low, high = (knob.effect.iloc[int(place)] for place in (mean.argmin(), mean.argmax()))
    span = max(float(np.ptp(mean)), 1e-9)
    return (
        f"{_name(labels, knob.variable)} from {wording.number(low['mean'], span)} at "
        f"{_setting(low['setting'], knob.unit)} to {wording.number(high['mean'], span)} at "
        f"{_setting(high['setting'], knob.unit)}"
    )


def _setting(value: object, unit: str) -> str:
    return wording.with_unit(wording.setting(value), unit)


def interaction_words(answer: Sensitivity, labels: Labels) -> str:
    """Tell the strongest pairs."""
    known = [pair for pair in answer.pairs if pair.index.known]
    if not known:
        return f"An empty frame: {wording.many(answer.cones, 'cone')} cannot tell pairs yet."
    told = "; ".join(
        f"{_name(labels, pair.a)} with {_name(labels, pair.b)} "
        f"{wording.interval(pair.index, most=2)}"
        for pair in known[:3]
    )
    return (
        f"A triangle of {wording.many(len(known), 'pair')} of knobs, each cell their joint share "
        f"of the variance: {told}. Below it the two strongest as lines."
    )


def optimum_words(
    answer: Optimum, labels: Labels, name: str, unit: str, *, minimise: bool = False
) -> str:
    """Tell the course of the best score over a knob's settings."""
    curve = answer.curve
    mean = curve["mean"].to_numpy(float)
    best = int(mean.argmin() if minimise else mean.argmax())
    ends = [_at(curve, place, answer.unit, mean) for place in (0, best, -1)]
    likely = curve.iloc[int(curve["probability"].to_numpy(float).argmax())]
    return (
        f"A line in its 90 % band over {_name(labels, answer.variable)}: the expected "
        f"{_name(labels, name)}{f' in {unit}' if unit else ''} is {ends[0]}, best with "
        f"{ends[1]}, and {ends[2]}. Bars below: the chance of being best, largest at "
        f"{_setting(likely['setting'], answer.unit)} "
        f"({wording.percent(float(likely['probability']))})."
    )


def _at(curve: pd.DataFrame, place: int, unit: str, mean: Floats) -> str:
    row = curve.iloc[place]
    span = max(float(np.ptp(mean)), 1e-9)
    return f"{wording.number(row['mean'], span)} at {_setting(row['setting'], unit)}"


def comparison_words(
    answer: Comparison, called: tuple[str, str], units: Mapping[str, str], labels: Labels
) -> str:
    """Tell the differences strip by strip."""
    if answer.same:
        return "An empty frame: both are the same recipe."
    known = {name: each for name, each in answer.rows.items() if each.known}
    if not known:
        return f"An empty frame: {wording.many(answer.cones, 'cone')} cannot tell the two apart."
    told = "; ".join(
        f"{_name(labels, name)} {wording.interval(each, units.get(name, ''))}"
        for name, each in known.items()
    )
    over = answer.paired
    same = (
        f" Thin, over the same other settings: score {wording.interval(over.score)}."
        if over is not None and over.score.known
        else ""
    )
    return f"A strip a metric around 0, {called[0]} minus {called[1]}: {told}.{same}"


def dead_end_words(answer: DeadEnds, labels: Labels) -> str:
    """Tell each variant's chance of holding the best recipe."""
    by_knob: dict[str, list[str]] = {}
    for each in answer.variants:
        if np.isfinite(each.probability):
            told = f"{each.where} {wording.percent(each.probability)}"
            by_knob.setdefault(each.variable, []).append(
                f"{told}, drop" if each.verdict == "drop" else told
            )
    told = "; ".join(f"{_name(labels, name)}: {', '.join(e)}" for name, e in by_knob.items())
    return f"Bars, the chance of holding the best recipe: {told}."


def front_words(answer: Front, units: Mapping[str, str], labels: Labels) -> str:
    """Tell the recipes on the front."""
    likely = [each for each in answer.members if each.chance >= 0.5]
    told = "; ".join(
        f"cone {each.cones[0]} at "
        + ", ".join(
            f"{_name(labels, n)} {wording.interval(each.expected[n], units.get(n, ''))}"
            for n in answer.metrics
        )
        for each in likely[:_TOLD]
    )
    return (
        f"{wording.many(len(answer.members), 'measured recipe')} in the traded metrics, diamonds "
        f"on the front: {told or 'none for sure'}{_rest(len(likely), 'recipe')}."
    )


def drift_words(answer: Drift) -> str:
    """Tell each session's verdict."""
    charts = f"A strip for each of {wording.many(len(answer.charts), 'metric')} over the sessions"
    told = "; ".join(f"{each.session} {each.verdict}" for each in answer.sittings[:_TOLD])
    return f"{charts}: {told or 'none'}{_rest(len(answer.sittings), 'session')}."


def calibration_words(checks: Sequence[Calibration], labels: Labels) -> str:
    """Tell how many cones fell inside their intervals."""
    known = [check for check in checks if check.cones >= 3]
    if not known:
        return "An empty frame: fewer than three cones were measured."
    told = "; ".join(
        f"{_name(labels, check.metric)} {check.inside} of {check.cones} bars cross the diagonal, "
        f"typical miss {wording.miss(check)}"
        for check in known
    )
    return f"A panel a metric, measured over foretold with a diagonal: {told}."


def recommendation_words(answer: Recommendation, name: str, unit: str) -> str:
    """Tell each candidate's expected score, and when the confirmation run passes."""
    assert answer.recipe is not None
    told = "; ".join(
        f"{each.role} {wording.interval(each.made, unit, most=3)}"
        for each in (answer.recipe, *answer.others)
    )
    text = f"Bars, expected {name} as made, of {wording.many(1 + len(answer.others), 'recipe')}: "
    run = answer.confirmation
    if run is None:
        return f"{text}{told}."
    must = wording.with_unit(wording.number(run.threshold, 0.1), unit)
    return (
        f"{text}{told}. Below, a rising line: a run of {wording.many(run.cones, 'cone')} that "
        f"must reach {must} passes with {wording.percent(run.passes)} if the model is right."
    )


def foretold_words(answer: Expectation) -> str:
    """Tell what each foretold curve spans, and how wide its band is."""
    told = "; ".join(
        f"{CURVE_NAMES[band.name]} {_between(band.mean, band.unit)}, band "
        f"{wording.number(float(np.nanmedian(band.high - band.low)), 1.0)} {band.unit} wide at "
        "its median"
        for band in answer.curves.values()
    )
    return f"{wording.many(len(answer.curves), 'line')} in bands, foretold: {told}."


def ageing_words(answer: Ageing) -> str:
    """Tell each metric's verdict."""
    told = "; ".join(
        f"{each.label} {each.verdict}, {wording.interval(each.whole, each.unit)}"
        if each.whole.known
        else f"{each.label} {each.verdict}"
        for each in answer.metrics
    )
    return (
        f"A strip a metric over 0 to {wording.number(answer.longest)} {answer.unit}, lines of "
        f"{wording.many(answer.cones, 'kept cone')}: {told}."
    )
