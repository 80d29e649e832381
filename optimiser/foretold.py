"""The worth of a first cone where an earlier experiment is all that is known."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from optimiser.encoding import Points
from optimiser.surrogate import Model

__all__ = ["Foretold"]

Floats = npt.NDArray[np.float64]

_DRAWS, _FEW = 8, 1  # drawn scores a hyperparameter set, and for a rough value
_TYPICAL = 512  # recipes that a typical score is taken from


class Foretold:
    """How far a recipe's expected score is over a typical one's, chance of printing included.

    Parameters
    ----------
    model : Model
        Scorable; in a plan that trades, the score is the mean of the desirabilities all the same.
    """

    def __init__(self, model: Model) -> None:
        self.model = model
        typical = model.encoding.of_codes(model.evidence.space.sample_codes(_TYPICAL, model.seed))
        # Each from its own draws: few of them may all lie low for want of the rig's offset.
        self._typical = {
            draws: float(np.median(self._height(typical, draws))) for draws in (_FEW, _DRAWS)
        }

    def _height(self, points: Points, draws: int) -> Floats:
        scores = self.model.sample_scores(points, noisy=False, count=draws)
        with np.errstate(invalid="ignore"):
            return np.asarray(self.model.goals.sign * np.nanmean(scores, axis=0))

    def log_value(self, points: Points, *, rough: bool = False) -> Floats:
        """Give the logarithm of the worth of m recipes, shape (m,)."""
        draws = _FEW if rough else _DRAWS
        rise = self._height(points, draws) - self._typical[draws]
        chance = self.model.printability(points)
        return np.asarray(np.log(np.maximum(rise, 1e-300)) + np.log(chance))
