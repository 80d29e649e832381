"""The scale on which a metric is learnt: logarithms of positive quantities, decibels as they are.

Where the unit says neither, the values tell (`optimiser.scale_choice`).
A spread on the logarithm is told as percent of the value.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

__all__ = ["POSITIVE_UNITS", "change_in_percent", "is_logarithmic", "is_open", "spread_in_percent"]

Floats = npt.NDArray[np.float64]

POSITIVE_UNITS = frozenset({"hz", "khz", "s", "ms", "%", "g", "mg", "kg", "min"})
"""Units, in lower case, of quantities that cannot be negative and spread in proportion."""


def is_logarithmic(unit: str, values: Floats) -> bool:
    """Tell whether a metric is learnt on its logarithm.

    Parameters
    ----------
    unit : str
        The metric's.
    values : ndarray of shape (n,)
        Everything measured of it, none missing.
    """
    return unit.strip().lower() in POSITIVE_UNITS and bool(np.all(values > 0))


def is_open(unit: str) -> bool:
    """Tell whether the unit leaves the scale open; decibels are logarithms already."""
    word = unit.strip().lower()
    return word not in POSITIVE_UNITS and not word.startswith("db")


def spread_in_percent(sd: float) -> float:
    """Turn a standard deviation of the natural logarithm into percent of the value.

    The coefficient of variation of a log-normal quantity, ``100 sqrt(exp(sd^2) - 1)``; close to
    ``100 sd`` below 20 %.
    """
    with np.errstate(over="ignore"):
        return float(100.0 * np.sqrt(np.expm1(np.float64(sd) ** 2)))


def change_in_percent(step: float) -> float:
    """Turn a step of the natural logarithm into percent, ``100 (exp(step) - 1)``."""
    with np.errstate(over="ignore"):
        return float(100.0 * np.expm1(np.float64(step)))
