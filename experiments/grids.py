"""The printable values of one variable: from low to high in steps, or its levels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from typing import Any

import numpy as np
import numpy.typing as npt

__all__ = ["DEFAULT_VALUES", "MAX_VALUES", "levels_grid", "stepless_grid", "steps_between"]

DEFAULT_VALUES = 101
"""Values of a continuous variable for which no step is given."""

MAX_VALUES = 100_001
"""Most values one variable may have: a printer's knob has far fewer, and memory is finite."""

_FIT = 1e-6
"""How far, in steps, `high` may lie off a whole number of steps and still be meant."""


def steps_between(low: float, high: float, step: float) -> int | None:
    """Count the steps from low to high; None if they do not reach it."""
    count = (high - low) / step
    if not math.isfinite(count) or abs(count - round(count)) > _FIT:
        return None
    return round(count)


def stepped_grid(low: float, high: float, step: float) -> npt.NDArray[np.float64]:
    """Give every value from low to high, as the decimals that a maker would write.

    Parameters
    ----------
    low, high, step : float
        `high` must be a whole number of steps above `low`.

    Returns
    -------
    ndarray, shape (values,)
        0.3 and not 0.30000000000000004: rounded to the decimals of `low` and `step`.
    """
    count = steps_between(low, high, step)
    if count is None:
        raise ValueError(f"steps of {step} from {low} do not reach {high}")
    values = low + step * np.arange(count + 1, dtype=np.float64)
    decimals = max(_decimals(low), _decimals(step))
    if decimals <= 12:
        values = np.round(values, decimals)
    values[0], values[-1] = low, high
    return values


def stepless_grid(low: float, high: float, *, log: bool) -> npt.NDArray[np.float64]:
    """Give `DEFAULT_VALUES` values from low to high, evenly spaced (in the logarithm if `log`).

    Returns
    -------
    ndarray, shape (101,)
        Rounded far below one step, so that they print without binary tails.
    """
    values = (np.geomspace if log else np.linspace)(low, high, DEFAULT_VALUES)
    spacing = float(np.diff(values).min())
    if spacing > 0:
        values = np.round(values, min(300, max(0, 9 - math.floor(math.log10(spacing)))))
    values[0], values[-1] = low, high
    return np.asarray(values, dtype=np.float64)


def levels_grid(levels: Sequence[str | float], *, numeric: bool) -> npt.NDArray[Any]:
    """Give the levels as an array: float64 if numeric, else objects of str."""
    if numeric:
        return np.asarray(levels, dtype=np.float64)
    grid = np.empty(len(levels), dtype=object)
    grid[:] = levels
    return grid


def _decimals(value: float) -> int:
    exponent = Decimal(repr(float(value))).normalize().as_tuple().exponent
    return max(0, -int(exponent))
