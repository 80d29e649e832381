"""The pictures of a report, each with its caption and words for those who cannot see it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import partial

from experiments.acoustics.catalogue import MEASURES, convert
from optimiser import figures, wording
from optimiser import report_alternatives as words
from optimiser.ageing_records import Ageing
from optimiser.answers import Comparison
from optimiser.document import Picture
from optimiser.figures.style import hertz
from optimiser.material import Material

__all__ = [
    "ageing_picture",
    "calibration_picture",
    "comparison_pictures",
    "curve_pictures",
    "dead_end_pictures",
    "drift_pictures",
    "foretold_picture",
    "front_pictures",
    "history_picture",
    "index_picture",
    "knob_pictures",
    "optimum_pictures",
    "outlook_picture",
    "recommendation_picture",
]


def _best(material: Material) -> int | None:
    return int(material.leader.cone) if material.leader is not None else None


def _labels(material: Material) -> dict[str, str]:
    return wording.describe(material.plan)


def _units(material: Material) -> dict[str, str]:
    plan = material.plan
    units = {name: metric.unit for name, metric in plan.metrics.items()}
    return {"score": wording.score_unit(plan), **units}


def history_picture(material: Material) -> Picture:
    """Draw the measured score of each cone."""
    plan, trials = material.plan, material.trials
    name, unit = wording.score_name(plan), wording.score_unit(plan)
    failed = [int(cone) for cone in trials.loc[trials["status"] == "failed", "cone"]]
    draw = partial(
        figures.draw_history,
        [int(cone) for cone in trials["cone"]],
        material.scores,
        failed=failed,
        best=_best(material),
        metric=name,
        unit=unit,
        minimise=wording.minimises(plan),
    )
    told = words.history_words(material, _labels(material)[name], unit, failed)
    return Picture(draw, "history", "Measured score of each cone, and the best so far.", told)


def outlook_picture(material: Material) -> Picture:
    """Draw what more cones are expected to bring."""
    plan = material.plan
    name, unit = wording.score_name(plan), wording.score_unit(plan)
    return Picture(
        partial(figures.draw_outlook, material.outlook, metric=name, unit=unit),
        "outlook",
        "Left: best score after each cone, and the true best expected over more cones, were they "
        "all chosen now (dashed, 90 % band; diamond: one more). Right: probability that the best "
        "cone is near the best printable recipe.",
        words.outlook_words(material.outlook, _labels(material)[name], unit),
    )


def curve_pictures(material: Material) -> list[Picture]:
    """Draw response, distortion and the best cone's impulse response."""
    curves, best = material.curves, _best(material)
    marks = _marks(material, {"lower_limit_hz": "from", "upper_limit_hz": "to"})
    decay = _marks(material, {"decay_ms": "decay"}).get("decay", float("nan"))
    front = f", cone {best} in front" if best is not None else ""
    ranged = "; dashed: its effective range" if marks else ""
    limits = ", ".join(f"{name} {hertz(hz, unit=True)}" for name, hz in marks.items())
    of = f" of {curves.impulse.name}" if curves.impulse is not None else ""
    drawn = [
        Picture(
            partial(figures.draw_response, curves.response, best=best, limits=marks),
            "response",
            f"Responses of {wording.many(len(curves.response), 'cone')}{front}{ranged}.",
            words.curve_words(curves.response, "level", "dB", best)
            + (f" Its effective range goes {limits}." if limits else ""),
        ),
        Picture(
            partial(figures.draw_distortion, curves.distortion, best=best),
            "distortion",
            f"Total harmonic distortion of {wording.many(len(curves.distortion), 'cone')}{front}, "
            "at the fundamental's frequency.",
            words.curve_words(curves.distortion, "harmonic distortion", "%", best),
        ),
        Picture(
            partial(figures.draw_impulse, curves.impulse, curves.envelope, decay_ms=decay),
            "impulse",
            f"Impulse response{of} with its envelope and the 5 % line.",
            words.impulse_words(curves.impulse, decay),
        ),
    ]
    there = {"distortion": bool(curves.distortion), "impulse": curves.impulse is not None}
    # What no cone gave, and no metric of the plan asks for, is no empty frame.
    sources = {metric.source for metric in material.plan.metrics.values()}
    return [each for each in drawn if there.get(each.key, True) or sources & {each.key, "sweep"}]


def _marks(material: Material, wanted: Mapping[str, str]) -> dict[str, float]:
    """Give the leader's last measured values of some measures, in the measures' own units."""
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


def index_picture(material: Material) -> Picture:
    """Draw the Sobol indices."""
    return Picture(
        partial(figures.draw_indices, material.knobs, labels=_labels(material)),
        "indices",
        "Sobol indices: what each knob does alone, and in all its company.",
        words.index_words(material.knobs, _labels(material)),
    )


def knob_pictures(material: Material) -> list[Picture]:
    """Draw main effects and what two knobs do together."""
    answer, labels = material.knobs, _labels(material)
    units = {name: variable.unit for name, variable in material.plan.variables.items()}
    marks = material.marks
    own = answer.metric == wording.score_name(material.plan)
    values = marks["score"].to_numpy(dtype=float) if own else None
    return [
        Picture(
            partial(figures.draw_effects, answer, marks, values, labels=labels),
            "effects",
            "Main effects: the mean over all other settings with its 90 % band; rings are cones.",
            words.effect_words(answer, labels),
        ),
        Picture(
            partial(figures.draw_interactions, answer, labels=labels, units=units),
            "interactions",
            "What two knobs do together: each pair, and the two strongest as curves (bars: 90 %).",
            words.interaction_words(answer, labels),
        ),
    ]


def optimum_pictures(material: Material) -> list[Picture]:
    """Draw each number knob's optimum, where anything is known of it."""
    name, unit = wording.score_name(material.plan), wording.score_unit(material.plan)
    labels = _labels(material)
    return [
        Picture(
            partial(
                figures.draw_optimum,
                replace(answer, metrics={}),
                labels=labels,
                metric=name,
                units={name: unit},
                trials=material.marks,
            ),
            f"optimum_{answer.variable}",
            answer.text,
            words.optimum_words(
                answer, labels, name, unit, minimise=wording.minimises(material.plan)
            ),
        )
        for answer in material.findings.optima
        if len(answer.curve)
    ]


def comparison_pictures(material: Material) -> list[Picture]:
    """Draw the best level of each choice against the next best one, metric by metric."""
    rivals: dict[str, Comparison] = {}
    for answer in material.findings.levels:
        rivals.setdefault(next(iter(answer.a)), answer)
    labels, units = _labels(material), _units(material)
    found = []
    for variable, answer in rivals.items():
        a, b = called = wording.sides(material.plan, answer.a, answer.b)
        draw = partial(figures.draw_comparison, answer, a=a, b=b, units=units, labels=labels)
        told = words.comparison_words(answer, called, units, labels)
        found.append(Picture(draw, f"comparison_{variable}", answer.text, told))
    return found


def dead_end_pictures(material: Material) -> list[Picture]:
    """Draw where the best recipe can still lie."""
    answer, labels = material.findings.dead_ends, _labels(material)
    if answer is None or not any(each.loss.known for each in answer.variants):
        return []
    draw, told = partial(figures.draw_dead_ends, answer, labels=labels), words.dead_end_words
    return [
        Picture(draw, "deadends", "Where the best recipe can still lie.", told(answer, labels))
    ]


def front_pictures(material: Material) -> list[Picture]:
    """Draw the front of a plan that trades."""
    answer, labels = material.findings.front, _labels(material)
    if answer is None or not answer.members:
        return []
    return [
        Picture(
            partial(figures.draw_front, answer, material.plan.metrics, labels=labels),
            "front",
            "The measured recipes in the traded metrics, and the box from poor to good.",
            words.front_words(answer, _units(material), labels),
        )
    ]


def recommendation_picture(material: Material) -> Picture | None:
    """Draw the recipe for production, its rivals and its confirmation run."""
    answer, plan = material.findings.recommendation, material.plan
    if answer is None or answer.recipe is None or answer.confirmation is None:
        return None
    name, unit = wording.score_name(plan), wording.score_unit(plan)
    return Picture(
        partial(figures.draw_recommendation, answer, metric=name, unit=unit),
        "production",
        "Above: the recipe for production and its rivals, over what the printer makes of each "
        "(90 % bars). Below: how likely the confirmation run passes, over the true score.",
        words.recommendation_words(answer, _labels(material)[name], unit),
    )


def foretold_picture(material: Material) -> Picture | None:
    """Draw the foretold curves of the first cone to come."""
    answer = material.findings.foretold
    if answer is None or not answer.curves:
        return None
    return Picture(
        partial(figures.draw_expectation, answer),
        "foretold",
        "Foretold curves of the next cone: solid the mean, dashed the middle curve, the band 90 % "
        "of new measurements.",
        words.foretold_words(answer),
    )


def ageing_picture(material: Material, answer: Ageing) -> Picture:
    """Draw the kept cones over their age."""
    return Picture(
        partial(figures.draw_ageing, answer, labels=_labels(material)),
        f"ageing_{answer.by}",
        "Marks: what each kept cone measured; lines: the cone itself, without session and noise, "
        "with its 90 % band.",
        words.ageing_words(answer),
    )


def drift_pictures(material: Material) -> list[Picture]:
    """Draw the reference cone's chart and the sessions' offsets."""
    answer = material.findings.drift
    if answer is None:
        return []
    caption = (
        "Dots: the reference cone's reading in each session, dashed its limits; bars: what each "
        "session adds, with its 90 % interval, from every cone heard in several sessions."
    )
    draw = partial(figures.draw_drift, answer, labels=_labels(material))
    return [Picture(draw, "drift", caption, words.drift_words(answer))]


def calibration_picture(material: Material) -> Picture:
    """Draw each cone foretold without itself."""
    labels = _labels(material)
    return Picture(
        partial(figures.draw_calibration, material.calibration, labels=labels),
        "calibration",
        "Measured against foretold without that cone; on the line is perfect.",
        words.calibration_words(material.calibration, labels),
    )
