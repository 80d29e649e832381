"""How well curves are foretold: every cone left out, against cones of one recipe."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pandas as pd

from optimiser.curve_family import Family, band
from optimiser.curve_model import CurveModel
from optimiser.records.expectations import CurveCheck
from optimiser.threads import one_thread

__all__ = ["check_curves"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

_QUICK = 128  # draws a left-out cone


@one_thread
def check_curves(model: CurveModel) -> list[CurveCheck]:
    """Foretell each cone's first curves from all other cones, and compare.

    Parameters
    ----------
    model : CurveModel

    Returns
    -------
    list of CurveCheck
        One a curve's name.

    Notes
    -----
    Closed form, as for metrics: hyperparameters and registration are not learnt anew. The
    components are those of the other cones, and what components leave of a cone's curve is
    never counted for the cone itself.
    """
    return [check for family in model.families.values() for check in _check_family(model, family)]


def _check_family(model: CurveModel, family: Family) -> list[CurveCheck]:
    tolds = family.without()
    draws = [family.draw(told, _QUICK) for told in tolds]
    again = family.draw(family.again(tolds[0]), _QUICK)
    cones = family.cones[family.firsts]
    checks = []
    for place, (channel, part) in enumerate(
        zip(family.bundle.channels, family.bundle.parts, strict=True)
    ):
        seen = family.bundle.values[family.firsts, part]
        mean, low, high = (
            np.array(each) for each in zip(*(band(d[place]) for d in draws), strict=True)
        )
        known = np.isfinite(seen)
        miss = np.where(known, mean - seen, 0.0) ** 2
        points = np.maximum(known.sum(axis=1), 1)
        own = np.sqrt(miss.sum(axis=1) / points)
        inside = ((low <= seen) & (seen <= high)).sum(axis=1) / points
        prints, pairs = _prints(seen, model.recipes[cones])
        checks.append(
            CurveCheck(
                name=channel.name,
                cones=len(cones),
                inside=float(inside.mean()),
                error=float(np.sqrt(np.mean(own**2))),
                usual=float(np.median(own)),
                spread=_spread(seen),
                prints=prints,
                pairs=pairs,
                again=float(np.sqrt(np.mean(again[place].var(axis=0)))),
                table=pd.DataFrame(
                    {"cone": [model.labels[c] for c in cones], "error": own, "inside": inside}
                ),
            )
        )
    return checks


def _spread(seen: Floats) -> float:
    """Give the miss of the mean of all other cones' curves, dB rms."""
    known = np.isfinite(seen)
    count = known.sum(axis=0)
    total = np.where(known, seen, 0.0).sum(axis=0)
    others = (total - np.where(known, seen, 0.0)) / np.maximum(count - 1, 1)
    return float(np.sqrt(np.mean((seen - others)[known & (count > 1)] ** 2)))


def _prints(seen: Floats, recipes: Ints) -> tuple[float, int]:
    """Give the spread of cones of one recipe, dB rms, and its degrees of freedom."""
    squares, freedom = [], 0
    for recipe in np.unique(recipes):
        alike = seen[recipes == recipe]
        if len(alike) > 1:
            squares.append(np.nanvar(alike, axis=0, ddof=1) * (len(alike) - 1))
            freedom += len(alike) - 1
    if not freedom:
        return float("nan"), 0
    return float(np.sqrt(np.nanmean(np.sum(squares, axis=0) / freedom))), freedom
