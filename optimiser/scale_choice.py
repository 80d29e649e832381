"""Whether a metric whose unit does not say it is learnt better on its logarithm.

Two scales are two models of the same values, so their evidence compares them once the density of
the logarithms is turned into one of the values: ``ln p(y) = ln p(ln y) - Σ ln y`` (Snelson,
Rasmussen & Ghahramani 2003, Warped Gaussian processes, NeurIPS 16, with the logarithm alone for a
warp).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from optimiser.covariance import Covariance
from optimiser.encoding import Encoding
from optimiser.kernels import separations
from optimiser.posterior import explore
from optimiser.process import some_rows
from optimiser.transfer import Observations

__all__ = ["gain_of_logarithm", "is_better_on_logarithm"]

Floats = npt.NDArray[np.float64]

_ENOUGH = 60  # observations that tell one scale from the other
_RANGE = 1.5  # largest over smallest value below which the scales hardly differ
_ODDS = 3.0  # prior odds of the plain scale


def is_better_on_logarithm(seen: Observations, encoding: Encoding, seed: int) -> bool:
    """Tell whether the logarithm is more probable than the plain scale, at prior odds of 1 to 3.

    Parameters
    ----------
    seen : Observations
        Outputs on the plain scale.
    encoding : Encoding
    seed : int

    Returns
    -------
    bool
        False where a value is 0 or less, or all are about the same.
    """
    part = seen.take(some_rows(seen.recipes, _ENOUGH, seed))
    if not np.all(seen.outputs > 0) or np.max(part.outputs) < _RANGE * np.min(part.outputs):
        return False
    return bool(gain_of_logarithm(part, encoding, seed) > np.log(_ODDS))


def gain_of_logarithm(seen: Observations, encoding: Encoding, seed: int) -> float:
    """Give how much larger the log density of the values is as logarithms than plainly.

    Parameters
    ----------
    seen : Observations
        Outputs on the plain scale, positive and not all the same.
    encoding : Encoding
    seed : int

    Returns
    -------
    float
        Natural logarithm of the Bayes factor; random effects are left out on either scale.
    """
    outputs, count = seen.outputs, len(seen.outputs)
    covariance = Covariance(*separations(encoding, seen.points, seen.points), [], np.ones(count))

    def height(values: Floats) -> float:
        spread = float(np.std(values, ddof=1))
        standardised = (values - np.mean(values)) / spread
        evidence = explore(covariance, standardised, seed).log_evidence
        return evidence - count * float(np.log(spread))

    logs = np.log(outputs)
    return float(height(logs) - logs.sum() - height(outputs))
