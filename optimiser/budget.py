"""An uncertainty budget: parts combined, with the degrees of freedom they leave.

Clauses of JCGM 100:2008 (GUM), from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy import special

__all__ = ["Combined", "combine", "coverage_factor"]


@dataclass(frozen=True)
class Combined:
    """A combined standard uncertainty.

    Parameters
    ----------
    uncertainty : float
        Root of the sum of squares.
    degrees : float
        Effective degrees of freedom, not truncated; infinite where every part is known.
    """

    uncertainty: float
    degrees: float

    def expanded(self, probability: float) -> float:
        """Give the half width that holds a share of the values."""
        return coverage_factor(probability, self.degrees) * self.uncertainty


def combine(uncertainties: Sequence[float], degrees: Sequence[float]) -> Combined:
    """Combine independent standard uncertainties.

    Parameters
    ----------
    uncertainties : sequence of float
        Standard uncertainties in the unit of the result (sensitivities multiplied in), at
        least 0.
    degrees : sequence of float
        Degrees of freedom of each; infinite for one that is known.

    Returns
    -------
    Combined
        ``u_c = sqrt(sum u_i^2)`` (5.1.2) and the Welch-Satterthwaite
        ``u_c^4 / sum(u_i^4 / nu_i)`` (G.4.1).
    """
    total = math.sqrt(sum(u**2 for u in uncertainties))
    # Shares of the whole keep fourth powers of tiny units within double precision.
    shares = [(u / total) ** 4 if total > 0 else 0.0 for u in uncertainties]
    lost = sum(share / nu for share, nu in zip(shares, degrees, strict=True))
    return Combined(total, 1.0 / lost if lost > 0 else math.inf)


def coverage_factor(probability: float, degrees: float) -> float:
    """Give the factor k for which plus or minus k standard uncertainties hold a share of values.

    Parameters
    ----------
    probability : float
        The share, 0..1.
    degrees : float
        Degrees of freedom, truncated to the next lower integer (G.4.1), but not below 1;
        infinite gives the normal distribution's factor.
    """
    tail = 0.5 * (1.0 + probability)
    if math.isinf(degrees):
        return float(special.ndtri(tail))
    return float(special.stdtrit(max(1, math.floor(degrees + 1e-9)), tail))
