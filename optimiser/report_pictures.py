"""The pictures of a report, each with its caption and words for those who cannot see it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from markupsafe import Markup
from matplotlib.figure import Figure

from experiments.acoustics.catalogue import MEASURES, convert
from optimiser import figures, wording
from optimiser.answers import Comparison
from optimiser.material import Material

__all__ = ["Picture", "pictures"]


@dataclass(frozen=True)
class Picture:
    """A drawn figure and its caption."""

    svg: Markup
    caption: str


def _picture(figure: Figure, key: str, caption: str, alternative: str = "") -> Picture:
    svg = figures.to_inline_svg(figure, key, alternative=f"{caption} {alternative}".strip())
    # to_inline_svg writes what matplotlib drew and escapes the alternative itself.
    return Picture(Markup(svg), caption)


def pictures(material: Material) -> dict[str, list[Picture]]:
    """Draw everything, by section of the report."""
    labels = wording.describe(material.plan)
    return {
        "summary": _summary(material),
        "curves": _curves(material),
        "front": _front(material, labels),
        "knobs": _knobs(material, labels),
        "optimum": _optima(material, labels),
        "comparison": _comparisons(material, labels),
        "deadends": _dead_ends(material, labels),
        "drift": _drift(material, labels),
        "calibration": [
            _picture(
                figures.draw_calibration(material.calibration, labels=labels),
                "calibration",
                "Measured against foretold without that cone; on the line is perfect.",
                " ".join(check.text for check in material.calibration),
            )
        ],
    }


def _best(material: Material) -> int | None:
    return int(material.leader.cone) if material.leader is not None else None


def _summary(material: Material) -> list[Picture]:
    """Draw score history and outlook."""
    plan, trials = material.plan, material.trials
    name, unit = wording.score_name(plan), wording.score_unit(plan)
    goal = plan.metrics[name].goal if name in plan.metrics else "maximise"
    measured = np.isfinite(material.scores)
    failed = trials.loc[trials["status"] == "failed", "cone"]
    history = figures.draw_history(
        [int(cone) for cone in trials["cone"]],
        material.scores,
        failed=[int(cone) for cone in failed],
        best=_best(material),
        metric=name,
        unit=unit,
        minimise=goal == "minimise",
    )
    told = f"{int(measured.sum())} measurements have a score, {len(failed)} cones failed."
    return [
        _picture(history, "history", "Measured score of each cone, and the best so far.", told),
        _picture(
            figures.draw_outlook(material.outlook, metric=name, unit=unit),
            "outlook",
            "Left: best score after each cone, and the true best expected over more cones, were "
            "they all chosen now (dashed, 90 % band; diamond: one more). Right: probability that "
            "the best cone is near the best printable recipe.",
            material.outlook.text,
        ),
    ]


def _curves(material: Material) -> list[Picture]:
    """Draw response, distortion and the best cone's impulse response."""
    curves, best = material.curves, _best(material)
    marks = _marks(material, {"lower_limit_hz": "from", "upper_limit_hz": "to"})
    decay = _marks(material, {"decay_ms": "decay"})
    front = f", cone {best} in front" if best is not None else ""
    response = figures.draw_response(curves.response, best=best, limits=marks)
    distortion = figures.draw_distortion(curves.distortion, best=best)
    impulse = figures.draw_impulse(
        curves.impulse, curves.envelope, decay_ms=decay.get("decay", float("nan"))
    )
    told = ", ".join(f"{name} {value:.4g} Hz" for name, value in marks.items())
    of = f" of {curves.impulse.name}" if curves.impulse is not None else ""
    return [
        _picture(
            response,
            "response",
            f"Responses of {wording.many(len(curves.response), 'cone')}{front}; "
            "dashed: its effective range.",
            told,
        ),
        _picture(
            distortion,
            "distortion",
            f"Total harmonic distortion of {wording.many(len(curves.distortion), 'cone')}{front}, "
            "at the fundamental's frequency.",
        ),
        _picture(
            impulse,
            "impulse",
            f"Impulse response{of} with its envelope and the 5 % line.",
        ),
    ]


def _marks(material: Material, wanted: Mapping[str, str]) -> dict[str, float]:
    """Give the leader's first measured values of some measures, in the measures' own units."""
    best, trials = _best(material), material.trials
    if best is None:
        return {}
    rows = trials[trials["cone"].astype(float) == best]
    marks = {}
    for metric in material.plan.metrics.values():
        if metric.measure in wanted and len(rows):
            values = rows[metric.name].astype(float).dropna()
            if len(values):
                unit = MEASURES[metric.measure].unit
                marks[wanted[metric.measure]] = convert(float(values.iloc[-1]), metric.unit, unit)
    return marks


def _knobs(material: Material, labels: Mapping[str, str]) -> list[Picture]:
    """Draw indices, main effects and what two knobs do together."""
    answer = material.knobs
    indices = figures.draw_indices(answer, labels=labels)
    units = {name: variable.unit for name, variable in material.plan.variables.items()}
    values = material.scores if answer.metric == wording.score_name(material.plan) else None
    effects = figures.draw_effects(answer, material.trials, values, labels=labels)
    return [
        _picture(
            indices,
            "indices",
            "Sobol indices: what each knob does alone, and in all its company.",
            answer.text,
        ),
        _picture(
            effects,
            "effects",
            "Main effects: the mean over all other settings with its 90 % band; rings are cones.",
            answer.text,
        ),
        _picture(
            figures.draw_interactions(answer, labels=labels, units=units),
            "interactions",
            "What two knobs do together: each pair, and the two strongest as curves (bars: 90 %).",
            answer.text,
        ),
    ]


def _optima(material: Material, labels: Mapping[str, str]) -> list[Picture]:
    """Draw each number knob's optimum, where anything is known of it."""
    name, unit = wording.score_name(material.plan), wording.score_unit(material.plan)
    return [
        _picture(
            figures.draw_optimum(
                replace(answer, metrics={}),
                labels=labels,
                metric=name,
                units={name: unit},
                trials=material.trials.assign(score=material.scores),
            ),
            f"optimum{place}",
            answer.text,
            f"Drawn: the expected {labels.get(name, name)} over {labels[answer.variable]}, and "
            "each setting's chance of being the best; rings are cones.",
        )
        for place, answer in enumerate(material.findings.optima)
        if len(answer.curve)
    ]


def _comparisons(material: Material, labels: Mapping[str, str]) -> list[Picture]:
    """Draw the best level of each choice against the next best one, metric by metric."""
    plan = material.plan
    units = {name: metric.unit for name, metric in plan.metrics.items()}
    units.setdefault("score", wording.score_unit(plan))
    rivals: dict[str, Comparison] = {}
    for answer in material.findings.levels:
        rivals.setdefault(next(iter(answer.a)), answer)
    found = []
    for place, answer in enumerate(rivals.values()):
        a, b = wording.sides(plan, answer.a, answer.b)
        figure = figures.draw_comparison(answer, a=a, b=b, units=units, labels=labels)
        drawn = f"Drawn: {a} minus {b}, metric by metric, with 90 % intervals."
        found.append(_picture(figure, f"comparison{place}", answer.text, drawn))
    return found


def _dead_ends(material: Material, labels: Mapping[str, str]) -> list[Picture]:
    answer = material.findings.dead_ends
    if answer is None or not any(each.loss.known for each in answer.variants):
        return []
    figure = figures.draw_dead_ends(answer, labels=labels)
    return [_picture(figure, "deadends", "Where the best recipe can still lie.", answer.text)]


def _front(material: Material, labels: Mapping[str, str]) -> list[Picture]:
    answer = material.findings.front
    if answer is None or not answer.members:
        return []
    figure = figures.draw_front(answer, material.plan.metrics, labels=labels)
    caption = "The measured recipes in the traded metrics, and the box from poor to good."
    return [_picture(figure, "front", caption, answer.text)]


def _drift(material: Material, labels: Mapping[str, str]) -> list[Picture]:
    answer = material.findings.drift
    if answer is None:
        return []
    caption = (
        "Dots: the reference cone's reading in each session, dashed its limits; bars: what each "
        "session adds, with its 90 % interval, from every cone heard in several sessions."
    )
    return [_picture(figures.draw_drift(answer, labels=labels), "drift", caption, answer.text)]
