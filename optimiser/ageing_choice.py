"""Which law of ageing the table prefers: each cone foretold without itself."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from optimiser.ageing_laws import LAWS
from optimiser.ageing_model import AgeModel
from optimiser.ageing_records import LawChoice

__all__ = ["choose_law", "left_out"]

Floats = npt.NDArray[np.float64]

_LEAST_CONES = 4  # aged cones from which whole cones are left out, else single measurements
_LEAST_AGES = 3  # at two ages every law fits
_PARTS = 10
_LEAD = 3.0  # natural logarithms of predictive density, 20 to 1


def left_out(model: AgeModel) -> Floats:
    """Give the log predictive density of what was left out, shape (parts, laws).

    Whole cones where four or more were heard at several ages, else single measurements; one at
    a time, in ten parts where they are more. The
    density of a part is the evidence with it over the evidence without it, variances being
    learnt anew; equal constants are left out.

    Notes
    -----
    Compared as in Vehtari, Gelman & Gabry (2017), Statistics and Computing 27.
    """
    kept = model.kept
    if kept.aged.sum() >= _LEAST_CONES:
        cones = np.flatnonzero(kept.aged)
        parts = [np.isin(kept.cone, cones[first::_PARTS]) for first in range(_PARTS)]
    else:
        rows = np.flatnonzero(kept.aged[kept.cone])
        parts = [np.isin(np.arange(len(kept)), rows[first::_PARTS]) for first in range(_PARTS)]
    whole = model.log_evidence()
    found = []
    for part in (each for each in parts if each.any()):
        rest = kept.without(part)
        spare = len(rest) - len(np.unique(rest.cone)) - len(rest.beside)
        if spare > 1 and kept.aged[rest.cone].any():
            found.append(whole - model.log_evidence(rest))
    return np.array(found).reshape(-1, len(LAWS))


def choose_law(model: AgeModel) -> LawChoice:
    """Name the law that foretells best, if it leads the others clearly.

    It must lead by 3 natural logarithms and by two standard errors of the difference.
    """
    weights = dict(zip(LAWS, model.weights.tolist(), strict=True))
    kept = model.kept
    ages = [np.unique(kept.times[kept.cone == each]) for each in np.flatnonzero(kept.aged)]
    if max(map(len, ages), default=0) < _LEAST_AGES and len(np.unique(np.concatenate(ages))) < 4:
        return LawChoice(
            None, weights, math.nan, "two ages a cone fit any law; a third would tell"
        )
    parts = left_out(model)
    if len(parts) < 2:
        return LawChoice(None, weights, math.nan, "too few measurements to leave one out")
    total = parts.sum(axis=0)
    best = int(np.argmax(total))
    others = [each for each in range(len(LAWS)) if each != best]
    lead = min(float(total[best] - total[each]) for each in others)
    clear = all(_clear(parts[:, best] - parts[:, each]) for each in others)
    if clear:
        text = f"{LAWS[best]} (its lead over the next law: {lead:.1f} in log density)"
        return LawChoice(LAWS[best], weights, lead, text)
    likely = max(weights, key=lambda law: weights[law])
    text = f"laws cannot be told apart yet, so they are averaged (likeliest: {likely}"
    return LawChoice(None, weights, lead, f"{text}, {100 * weights[likely]:.0f} %)")


def _clear(difference: Floats) -> bool:
    error = math.sqrt(len(difference)) * float(np.std(difference, ddof=1))
    return bool(difference.sum() > max(_LEAD, 2.0 * error))
