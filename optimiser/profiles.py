"""Intervals of variance components by profile likelihood, cut where few comparisons ask for it."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cache

import numpy as np
from scipy import optimize, special

from optimiser.mixed import MixedFit, MixedModel

__all__ = ["profile_cut", "variance_interval"]

_FARTHEST = 1e8  # times the largest variance found: beyond, the data set no upper end


@cache
def profile_cut(degrees: int, level: float = 0.9) -> float:
    """Give how far twice the log likelihood may fall inside an interval.

    Parameters
    ----------
    degrees : int
        Independent comparisons behind the variance, at least 1.
    level : float
        Coverage.

    Returns
    -------
    float
        For a single variance estimated with so many degrees of freedom the interval then covers
        exactly; with many it is the chi-square quantile with 1 degree of freedom (2.706 for
        90 %), with 1 it is 3.34.

    Notes
    -----
    With ``w = s2/sigma2`` and ``degrees * w`` chi-square distributed, twice the log likelihood
    falls by ``degrees * (w - 1 - ln w)``.
    """

    def covered(cut: float) -> float:
        fall = cut / degrees
        low = _solve(lambda log_w: math.expm1(log_w) - log_w - fall, -fall - 1.5, 0.0)
        high = _solve(lambda log_w: math.expm1(log_w) - log_w - fall, 0.0, math.log(2 * fall + 6))
        ends = special.gammainc(0.5 * degrees, 0.5 * degrees * np.exp([low, high]))
        return float(ends[1] - ends[0]) - level

    return _solve(covered, 1e-3, 60.0)


def variance_interval(
    model: MixedModel, fit: MixedFit, name: str, degrees: int, level: float = 0.9
) -> tuple[float, float]:
    """Give an interval of one variance from the profile of the restricted likelihood.

    Parameters
    ----------
    model : MixedModel
    fit : MixedFit
        Its restricted fit.
    name : str
        A random effect, or ``residual``.
    degrees : int
        Independent comparisons behind it; sets the height of the cut, see `profile_cut`.
    level : float
        Coverage.

    Returns
    -------
    low, high : float
        0 where nothing speaks against no variance at all; infinite where the values set no
        upper end.

    Notes
    -----
    An approximation: exact for one variance alone; its coverage with several is tested by
    simulation (tests/optimiser/test_spread_coverage.py).
    """
    cut = profile_cut(degrees, level)

    def above(log_variance: float) -> float:
        """Twice the fall of the likelihood, over the cut."""
        variance = math.exp(log_variance)
        return 2.0 * (fit.log_likelihood - model.profile(name, variance, fit.variances)) - cut

    estimate, largest = fit.variances[name], max(fit.variances.values())
    start = math.log(estimate) if estimate > 0 else math.log(largest)
    while estimate <= 0 and above(start) > 0:
        start -= math.log(16.0)
    high = math.inf
    top = _walk(above, start, math.log(4.0), math.log(_FARTHEST * largest))
    if top is not None:
        high = math.exp(_solve(above, *top))
    if estimate <= 0 or (name != "residual" and above(-math.inf) <= 0):
        return 0.0, high
    bottom = _walk(above, start, -math.log(4.0), math.log(1e-14 * largest))
    return (math.exp(_solve(above, *bottom)) if bottom is not None else 0.0), high


def _walk(
    above: Callable[[float], float], start: float, step: float, end: float
) -> tuple[float, float] | None:
    """Step away from the estimate until the cut is passed; None if it never is."""
    inside, outside = start, start + step
    while above(outside) <= 0:
        inside, outside = outside, outside + step
        if (outside > end) == (step > 0):
            return None
    return inside, outside


def _solve(function: Callable[[float], float], low: float, high: float) -> float:
    return float(optimize.brentq(function, low, high, xtol=1e-6))
