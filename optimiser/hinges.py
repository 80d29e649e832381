"""What a choice between two recipes hangs on: the one metric whose true value would turn it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from optimiser.appraisal import Made
from optimiser.records.production import Hinge
from optimiser.surrogate import Model, estimate

__all__ = ["find_hinge"]

Floats = npt.NDArray[np.float64]

_TOLD = 0.3  # correlation under which a metric says little of the choice
_HARDLY = 0.01  # probability under which it would not turn it


def find_hinge(model: Model, made: Made, best: int, rival: int) -> Hinge | None:
    """Find the metric, of either recipe, that goes most with the difference of their scores.

    Parameters
    ----------
    model : Model
    made : Made
    best, rival : int
        Places of the two.

    Returns
    -------
    Hinge or None
        The value at which the straight line through the drawn differences says that both are
        equal; None where no metric goes with the difference, or where it hardly lies there.
    """
    lead = made.worth[:, best] - made.worth[:, rival]
    strongest, found = _TOLD, None
    for role, place in (("recommended", best), ("runner-up", rival)):
        for name, values in made.of(place).items():
            level = values.mean(axis=1)
            match = _correlation(level, lead)
            if abs(match) <= strongest:
                continue
            strongest = abs(match)
            slope = match * lead.std() / level.std()
            threshold = float(level.mean() - lead.mean() / slope)
            beyond = level > threshold if slope < 0 else level < threshold
            known = estimate(level, model.metrics[name].cones)
            found = Hinge(name, role, threshold, bool(slope < 0), known, float(beyond.mean()))
    return found if found is not None and found.probability >= _HARDLY else None


def _correlation(a: Floats, b: Floats) -> float:
    if a.std() <= 1e-12 * max(abs(float(a.mean())), 1e-300) or b.std() == 0:
        return 0.0
    return float(np.corrcoef(a, b)[0, 1])
