"""The individuals control chart: single readings in the order in which they were taken."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

__all__ = ["FIRM_READINGS", "LEAST_READINGS", "Individuals", "individuals"]

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]

LEAST_READINGS = 5
"""Below it the limits, which the reading itself widens, hold however far the newest one lies."""

FIRM_READINGS = 8
"""Below it the same is true of a reading in the middle of the chart."""

# Expected range of two standard normal values, and the upper limit of a range in units of the
# mean range: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2 (from memory).
_D2 = 1.128
_D4 = 3.267


@dataclass(frozen=True)
class Individuals:
    """Centre and limits of readings, and which of them lie outside.

    Parameters
    ----------
    values : ndarray of shape (n,)
    centre, low, high : float
        Mean of the readings and mean ± 3 MR/1.128, MR being the mean moving range; NaN below
        two readings.
    ranges : ndarray of shape (n,)
        Distance from the reading before; NaN for the first.
    range_high : float
        Upper limit of a moving range, 3.267 MR.
    outside, jumped : ndarray of bool, shape (n,)
        Readings beyond the limits, and readings whose distance from the one before is.
    """

    values: Floats
    centre: float
    low: float
    high: float
    ranges: Floats
    range_high: float
    outside: Bools
    jumped: Bools

    @property
    def sd(self) -> float:
        """The usual spread of a reading: mean moving range over 1.128."""
        return (self.high - self.low) / 6.0


def individuals(values: npt.ArrayLike) -> Individuals:
    """Chart readings in order.

    Parameters
    ----------
    values : array_like of shape (n,)
        Finite readings, oldest first.

    Returns
    -------
    Individuals

    Notes
    -----
    NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2. A shift of any size in the newest
    of n readings passes the limits only if ``1 - 1/n > 2.66/(n - 1)``, from n = 5 on; in the
    middle only if ``1 - 1/n > 5.32/(n - 1)``, from n = 8 on.
    """
    numbers = np.asarray(values, dtype=np.float64)
    count = len(numbers)
    ranges = np.full(count, np.nan)
    if count < 2:
        nothing, nan = np.zeros(count, dtype=bool), float("nan")
        centre = float(numbers[0]) if count else nan
        return Individuals(numbers, centre, nan, nan, ranges, nan, nothing, nothing)
    ranges[1:] = np.abs(np.diff(numbers))
    mean_range = float(np.mean(ranges[1:]))
    centre, reach = float(np.mean(numbers)), 3.0 * mean_range / _D2
    # Readings that are all equal but for rounding have no spread to lie outside of.
    slack = 1e-12 * float(np.max(np.abs(numbers)))
    return Individuals(
        numbers,
        centre,
        centre - reach,
        centre + reach,
        ranges,
        _D4 * mean_range,
        np.abs(numbers - centre) > reach + slack,
        np.nan_to_num(ranges) > _D4 * mean_range + slack,
    )
