"""Climate and age beside the drift asked for, so that a warm session does not look like ageing."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from optimiser import wording
from optimiser.ageing_model import Drawn
from optimiser.ageing_records import Effect
from optimiser.ageing_rows import CLOCKS, Beside, Clock, Kept
from optimiser.ageing_scores import summary
from optimiser.repeats import Heard
from optimiser.scales import change_in_percent

__all__ = ["effects_beside", "with_beside", "within_cones"]

Floats = npt.NDArray[np.float64]

_APART = 0.1  # share of its sum of squares within cones that each must keep beside the others
_SPARE = 2  # sessions beyond one for each line, or degrees of freedom


def with_beside(heard: Heard, kept: Kept, clock: Clock) -> tuple[Kept, list[str]]:
    """Add to a metric's measurements what else they may follow.

    Over light or days these are temperature and humidity; over either of these the other one and
    the age, in light where cones got any, else in days.

    Parameters
    ----------
    heard : Heard
    kept : Kept
    clock : Clock
        What the drift is asked over.

    Returns
    -------
    kept : Kept
        With what was recorded at every measurement, differs within cones, and goes neither with
        `clock` nor with the others.
    notes : list of str
        What could not be told apart, and why.
    """
    notes: list[str] = []
    for other in _others(kept, clock, heard):
        column = heard.table[other.name].to_numpy(dtype=float)[kept.rows]
        told = np.isfinite(column)
        span = within_cones(column[told], kept.cone[told])
        if span <= other.slack:
            if span > 0 and other.reversible:
                notes.append(
                    f"{other.of} differs by {_amount(span, other)} at most between a cone's "
                    "readings: too little to tell what it does, so not taken into account"
                )
            continue
        if not told.all():
            missing = wording.many(int((~told).sum()), "measurement")
            notes.append(
                f"{missing} without {other.of}: it differs, and could not be taken into account; "
                f"give {other.option} with `measure`"
            )
            continue
        kept, why = _joined(kept, other, column, clock)
        notes += [why] if why else []
    return kept, notes


def _others(kept: Kept, clock: Clock, heard: Heard) -> list[Clock]:
    """Give what may matter beside a clock, the more likely first."""
    climates = [each for each in CLOCKS.values() if each.reversible and each is not clock]
    if not clock.reversible:
        return climates
    lit = heard.table["light_hours"].to_numpy(dtype=float)[kept.rows]
    light = CLOCKS["light_hours"]
    age = light if _differs(lit, kept.cone, light.slack) else CLOCKS["age_days"]
    return [age, *climates]


def _differs(column: Floats, cone: npt.NDArray[np.intp], slack: float) -> bool:
    return within_cones(column, cone) > slack


def within_cones(column: Floats, cone: npt.NDArray[np.intp]) -> float:
    """Give the widest span of a column within one cone (or session); 0 without values."""
    return max((float(np.ptp(column[cone == each])) for each in np.unique(cone)), default=0.0)


def _amount(value: float, clock: Clock) -> str:
    return wording.with_unit(wording.number(value), clock.unit)


def _joined(kept: Kept, other: Clock, column: Floats, clock: Clock) -> tuple[Kept, str]:
    """Add one more line, or say why not."""
    within = _within(np.column_stack([column, kept.times]), kept)
    known = (
        _within(np.column_stack([each.values for each in kept.beside]), kept)
        if (kept.beside)
        else np.zeros((len(kept), 0))
    )
    mine, times = within.T
    if min(_left(mine, np.column_stack([times, known])),
           _left(times, np.column_stack([mine, known]))) < _APART:  # fmt: skip
        return kept, (
            f"{other.of} and {clock.of} go together, so either may look like the other; measure "
            f"{'warm and cold' if clock.reversible else 'young and old'} cones at the same "
            f"{other.of}"
        )
    lines = 1 + len(kept.beside)
    steady = not _differs(column, kept.session, other.slack)
    spare = len(kept.sessions) - 1 if kept.shared and steady else _freedom(kept)
    if spare < lines + _SPARE or _freedom(kept) < lines + _SPARE:
        return kept, (
            f"too few sessions to take {other.of} into account, which differs between them"
        )
    middle, scale = float(column.mean()), float(np.sqrt(np.mean(mine**2)))
    beside = Beside(other, (column - middle) / scale, middle, scale)
    return replace(kept, beside=(*kept.beside, beside)), ""


def _freedom(kept: Kept) -> int:
    return len(kept) - len(np.unique(kept.cone)) - 1


def _within(columns: Floats, kept: Kept) -> Floats:
    """Take each cone's mean out of columns."""
    member = np.asarray(kept.cone[:, None] == np.unique(kept.cone), dtype=float)
    return np.asarray(columns - member @ ((member.T @ columns) / member.sum(axis=0)[:, None]))


def _left(column: Floats, others: Floats) -> float:
    """Give the share of a column's sum of squares that others leave."""
    found = np.linalg.lstsq(others, column, rcond=1e-10)[0]
    return float(np.sum((column - others @ found) ** 2) / np.sum(column**2))


def effects_beside(kept: Kept, drawn: Drawn, unit: str) -> list[Effect]:
    """Tell what the climates that were taken into account do, the same to every cone.

    An age beside a climate is not told: cones age each in their own way, which is asked over it.

    Parameters
    ----------
    kept : Kept
    drawn : Drawn
    unit : str
        Of the drift, in words.
    """
    found = []
    for place, each in enumerate(kept.beside):
        clock = each.clock
        if not clock.reversible:
            continue
        effect = summary(drawn.beside[:, place] / each.scale * clock.step, int(kept.aged.sum()))
        if kept.logarithmic:
            ends = (effect.mean, effect.low, effect.high)
            mean, low, high = (change_in_percent(min(end, 300.0)) for end in ends)
            effect = replace(effect, mean=mean, low=low, high=high)
        per = f"{clock.of}, per {wording.with_unit(f'{clock.step:g}', clock.unit)} more"
        span = each.scale * float(np.ptp(each.values))
        far = f" (only {_amount(span, clock)} were seen)" if span < 0.5 * clock.step else ""
        text = f"{per}{far}: {wording.interval(effect, unit)}"
        found.append(Effect(clock.name, clock.step, clock.unit, effect, text))
    return found
