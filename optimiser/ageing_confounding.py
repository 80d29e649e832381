"""Whether age and session go together, so that ageing and a moved rig look alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from experiments.plan import Plan
from optimiser.ageing_rows import Clock, Kept
from optimiser.wording import setting

__all__ = ["Confounding", "confounding", "never_aged"]

_MOSTLY = 0.1  # share of the ages' sum of squares within cones that sessions leave


@dataclass(frozen=True)
class Confounding:
    """How far sessions explain the ages.

    Parameters
    ----------
    left : float
        Share (0..1) of the ages' sum of squares within cones that varies within sessions too.
    blocked : bool
        Whether no drift can be told: sessions explain it all, and are too few to show their own
        scatter about a trend.
    text : str
        What to say; empty where sessions and ages are apart.
    """

    left: float
    blocked: bool
    text: str


def confounding(kept: Kept, clock: Clock) -> Confounding:
    """Tell how far age and session go together.

    Parameters
    ----------
    kept : Kept
        With a cone heard at several ages.
    clock : Clock
        What they are counted in; a climate too.

    Notes
    -----
    Ages and session indicators are compared less their mean within each cone. Where each session
    holds one measurement its offset is part of the noise, and nothing needs telling apart.
    """
    if not kept.shared:
        return Confounding(1.0, blocked=False, text="")
    member = np.asarray(kept.cone[:, None] == np.arange(len(kept.cones)), dtype=float)
    share = member / np.maximum(member.sum(axis=0), 1.0)
    columns = np.asarray(kept.session[:, None] == np.arange(len(kept.sessions)), dtype=float)
    columns = np.column_stack([kept.times, columns])
    columns -= member @ (share.T @ columns)
    ages, sessions = columns[:, 0], columns[:, 1:]
    found, _, rank, _ = np.linalg.lstsq(sessions, ages, rcond=1e-10)
    left = float(np.sum((ages - sessions @ found) ** 2) / np.sum(ages**2))
    what, like = ("age", "ageing") if not clock.reversible else (clock.of, "it")
    advice = "measure a young cone, or one that does not age, in the session of the old ones"
    if clock.reversible:
        advice = f"measure at more than one {what} in one session"
    if left < 1e-9:
        together = f"every session holds one {what} only, so a moved rig looks like {like}"
        blocked = int(rank) < 2
        more = "" if blocked else "; it is told only against how sessions scatter"
        return Confounding(0.0, blocked, f"{together}{more}; {advice}")
    if left < _MOSTLY:
        return Confounding(left, False, f"{what} and session nearly go together; {advice}")
    return Confounding(left, blocked=False, text="")


def never_aged(plan: Plan, recipes: pd.DataFrame, cones: pd.Series, times: pd.Series) -> list[str]:
    """Name the levels of which no cone was heard at several ages.

    What the kept cones tell is taken to hold for them too, which nothing has shown.

    Parameters
    ----------
    plan : Plan
    recipes : DataFrame
        The recipe of every measured cone, by cone.
    cones, times : Series
        Cone and age of each measurement.
    """
    spans = times.groupby(cones).agg(lambda each: each.max() - each.min())
    aged = [cone for cone in recipes.index if spans.get(cone, 0.0) > 0]
    notes = []
    for name, variable in plan.variables.items():
        if variable.kind != "choice" or not aged:
            continue
        heard = {setting(each) for each in recipes[name].dropna()}
        kept = {setting(each) for each in recipes.loc[aged, name].dropna()}
        if kept and heard - kept:
            lacking = " or ".join(sorted(heard - kept))
            notes.append(
                f"No cone with {variable.label} {lacking} was heard at several ages: that it ages "
                "as the others do is taken for granted."
            )
    return notes
