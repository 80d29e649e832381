"""One metric's kept measurements made ready: what is lacking, what goes together."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from optimiser import wording
from optimiser.ageing_beside import with_beside, within_cones
from optimiser.ageing_confounding import Confounding, confounding
from optimiser.ageing_rows import Clock, Kept, keep
from optimiser.repeats import Heard

__all__ = ["Prepared", "prepare"]

_VALUES = 3  # of a climate, before a line through them can be called straight


@dataclass(frozen=True)
class Prepared:
    """What can be modelled of one metric.

    Parameters
    ----------
    kept : Kept
    lacking : str
        What is missing before anything can be told; empty if nothing is.
    tangled : list of str
        What cannot be told from what.
    """

    kept: Kept
    lacking: str
    tangled: list[str] = field(default_factory=list)


def prepare(heard: Heard, metric: str, clock: Clock) -> Prepared:
    """Take one metric's values of the cones heard more than once, and see what they can tell.

    Parameters
    ----------
    heard : Heard
    metric : str
        A metric of the plan.
    clock : Clock
    """
    kept = keep(heard, metric, clock)
    tied = confounding(kept, clock) if kept.aged.any() else None
    recorded = int(heard.table[clock.name].notna().sum())
    lacking = _lacking(kept, tied, clock, recorded)
    if lacking:
        return Prepared(kept, lacking)
    kept, tangled = with_beside(heard, kept, clock)
    return Prepared(kept, "", [*tangled, *([tied.text] if tied is not None and tied.text else [])])


def _lacking(kept: Kept, tied: Confounding | None, clock: Clock, recorded: int) -> str:
    """Say what is missing before any drift can be told; empty if nothing is."""
    measure = "measure kept cones again"
    if not len(kept):
        if clock.reversible and recorded == 0:
            return f"{clock.of} was not recorded; give {clock.option} with `measure`"
        return f"no cone was heard twice; {measure} later"
    if not kept.aged.any():
        if clock.reversible:
            span = within_cones(kept.times, kept.cone)
            apart = wording.with_unit(f"{clock.slack:g}", clock.unit)
            close = f"{wording.with_unit(wording.number(span), clock.unit)} apart at most"
            least = f", more than {apart} apart ({close})" if span > 0 else ""
            return f"no cone was heard at two values of {clock.of}{least}; {measure} at another"
        return f"no cone was heard at two ages ({clock.of} in {clock.unit}); {measure} later"
    if clock.reversible and _distinct(kept, clock) < _VALUES:
        return (
            f"two values of {clock.of} alone fit any line; a third, more than "
            f"{wording.with_unit(f'{clock.slack:g}', clock.unit)} apart, would show whether it "
            "is straight"
        )
    if not kept.changes:
        return "every cone reads the same each time: entered once, or read too coarsely"
    if len(kept) - len(kept.cones) < 2:
        return "one cone was heard twice, which tells no error; a third measurement would"
    if tied is not None and tied.blocked:
        return tied.text
    return ""


def _distinct(kept: Kept, clock: Clock) -> int:
    """Count values that lie apart, among cones that were heard at several."""
    seen = np.sort(kept.times[kept.aged[kept.cone]])
    count, last = 0, -math.inf
    for each in seen:
        if each - last > clock.slack:
            count, last = count + 1, float(each)
    return count
