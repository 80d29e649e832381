"""Foretold curves in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from experiments.plan import Plan
from optimiser.chances import chance_to_print
from optimiser.records.expectations import Agreement, CurveCheck, Expectation
from optimiser.wording import (
    aim,
    beside,
    describe,
    interval,
    many,
    number,
    percent,
    score_name,
    score_unit,
    with_unit,
)

__all__ = ["CURVE_NAMES", "tell_checks", "tell_expectation"]

CURVE_NAMES = {
    "response": "response",
    "thd": "THD",
    **{f"hd{order}": f"harmonic {order}" for order in (2, 3, 4, 5)},
    "decay": "decay",
}
_TOLD = ("response", "thd", "decay")
_POOR = 0.9  # of the spread: a miss of more is called not foretold, as for metrics
_SMEARED = 0.25  # of the interval's width, by which a reading of the mean curve departs


def tell_expectation(plan: Plan, answer: Expectation) -> str:
    """Say what is expected, how far the curves can be trusted, and whether metrics agree.

    Parameters
    ----------
    plan : Plan
    answer : Expectation
        Its text is not looked at.
    """
    said = [_first(plan, answer)]
    if not answer.curves:
        said.append("Of whole curves nothing can be told yet.")
        return " ".join(said)
    said.append(
        "The bands are for one new measurement of a new cone in a session of its own, at each "
        "point by itself."
    )
    said.append(tell_checks(answer.checks))
    said += _tell_agreement(answer.agreements)
    return " ".join(filter(None, said))


def _first(plan: Plan, answer: Expectation) -> str:
    """Say what is expected of the score, or how a left-out cone compares."""
    if answer.cone is not None and answer.measured:
        return _left_out(answer)
    name = describe(plan)[score_name(plan)]
    if not answer.score.known:
        return f"From {many(answer.cones, 'measured cone')} no {name} can be foretold yet."
    told = interval(answer.score, score_unit(plan))
    said = f"Expected {name}: {told}, from {many(answer.cones, 'cone')}; {aim(answer.cones)}."
    if answer.prints != answer.prints:
        return said
    return f"{said} It prints with a chance of {chance_to_print(answer.prints, answer.printing)}."


def _left_out(answer: Expectation) -> str:
    """Say how what a cone gave compares with what the others foretell of it."""
    known = {n: v for n, v in answer.measured.items() if v == v and answer.expected[n].known}
    inside = sum(answer.expected[n].low <= v <= answer.expected[n].high for n, v in known.items())
    said = (
        f"Cone {answer.cone}, foretold without itself: {inside} of {many(len(known), 'metric')} "
        "within the 90 % interval"
    )
    parts = []
    for name in _TOLD:
        band = answer.curves.get(name)
        if band is not None and band.measured is not None and np.isfinite(band.measured).any():
            seen = np.isfinite(band.measured)
            share = np.mean(((band.low <= band.measured) & (band.measured <= band.high))[seen])
            parts.append(f"{CURVE_NAMES[name]} {percent(float(share))}")
    if not parts:
        return f"{said}."
    return f"{said}; share of its curves inside their bands: {', '.join(parts)}."


def tell_checks(checks: Sequence[CurveCheck]) -> str:
    """Say how well curves are foretold, in one sentence; harmonics are left to the table.

    Parameters
    ----------
    checks : sequence of CurveCheck
    """
    shown = [check for check in checks if check.name in _TOLD]
    if not shown:
        return ""
    parts = []
    for check in shown:
        against = f" against {_db(check.prints)} between prints of one recipe"
        parts.append(
            f"{CURVE_NAMES[check.name]} {_db(check.error)} rms{against if check.pairs else ''}, "
            f"{percent(check.inside)} of points inside"
        )
    least, most = (end(check.cones for check in shown) for end in (min, max))
    cones = many(most, "cone") if least == most else f"{least} to {many(most, 'cone')}"
    said = f"Each of {cones} foretold without itself, the miss is: {'; '.join(parts)}."
    poor = [CURVE_NAMES[check.name] for check in shown if check.error > _POOR * check.spread]
    if poor:
        said += (
            f" Not foretold yet, hardly better than by the mean of the other cones: "
            f"{', '.join(poor)}; believe the bands, not the curves."
        )
    return said


def _db(value: float) -> str:
    return with_unit(number(value, 1.0), "dB")


def _tell_agreement(found: Sequence[Agreement]) -> list[str]:
    """Say whether metrics read from the curves agree with those foretold, and where not."""
    known = [one for one in found if one.agrees is not None]
    if not known:
        return []
    agree = [one.label for one in known if one.agrees]
    said = []
    if agree:
        told = ", ".join(agree)
        said.append(f"Read from the middle curve, these agree with what is foretold: {told}.")
    for one in known:
        if not one.agrees:
            read = with_unit(beside(one.middle, one.foretold), one.unit)
            said.append(
                f"{one.label} reads {read} from the middle curve, where its own model foretells "
                f"{interval(one.foretold, one.unit)}: trust the model of the metric."
            )
    blurred = [one for one in known if _differs(one)]
    if blurred:
        told = "; ".join(
            f"{one.label} {with_unit(beside(one.mean, one.foretold), one.unit)} for "
            f"{beside(one.middle, one.foretold)}"
            for one in blurred
        )
        said.append(
            f"The mean curve reads otherwise ({told}): peaks whose place is not known are "
            "smeared in it."
        )
    return said


def _differs(one: Agreement) -> bool:
    width = one.foretold.high - one.foretold.low
    return one.mean == one.mean and abs(one.mean - one.middle) > _SMEARED * width
