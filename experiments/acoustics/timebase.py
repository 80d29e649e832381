"""When the samples of a text file were taken: a column of time or of sample numbers, or a rate."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics.curves import Impulse
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.table import Table

__all__ = ["by_numbers", "by_time", "counts"]

_UNITS: Final = {"s": 1.0, "ms": 1e-3, "us": 1e-6}
_JITTER: Final = 0.02  # of the step: more means that samples are missing
_SAME: Final = 0.01  # relative difference of two statements of one rate


def counts(values: npt.NDArray[np.float64]) -> bool:
    """Tell whether a column counts samples: whole numbers, mostly one apart."""
    known = np.sort(values[~np.isnan(values)])
    if known.size < 3 or np.any(known != np.round(known)):
        return False
    steps = np.diff(known)
    return bool(np.median(steps) == 1 and np.min(steps) > 0)


def by_numbers(table: Table, place: int, values: npt.NDArray[np.float64], rate: float) -> Impulse:
    """Order samples by their numbers.

    Parameters
    ----------
    table : Table
        The file; `table.notes` is added to.
    place : int
        The column of sample numbers.
    values : ndarray, shape (rows,)
        The samples.
    rate : float
        Sampling rate, Hz.

    Returns
    -------
    Impulse
        The samples in order.

    Raises
    ------
    CurveError
        If numbers are missing.
    """
    numbers, values, _ = _in_order(table, table.values[:, place].copy(), values, rounded=False)
    table.notes.append(f"column {place + 1} taken as sample numbers at {rate:g} Hz")
    return Impulse(values, rate, float(numbers[0]) / rate)


def by_time(
    table: Table,
    place: int,
    unit: str,
    values: npt.NDArray[np.float64],
    stated: float | None = None,
) -> Impulse:
    """Find the sampling rate from a column of time.

    Parameters
    ----------
    table : Table
        The file; `table.notes` is added to.
    place : int
        The column of time.
    unit : str
        s, ms, us, or empty where none is stated.
    values : ndarray, shape (rows,)
        The samples.
    stated : float or None
        Sampling rate as it was stated, Hz.

    Returns
    -------
    Impulse
        The samples in order.

    Raises
    ------
    CurveError
        If steps are uneven, the unit cannot be told, or the column contradicts the stated rate.
    """
    column = table.values[:, place]
    if unit not in _UNITS and counts(column):
        if stated is not None:
            return by_numbers(table, place, values, stated)
        raise CurveError(
            Problem(
                table.where(0), "whole numbers one apart without a unit, as sample numbers are",
                "a time with its unit, or a sampling rate",
                "Say the rate (--rate 48000, or a line '# sampling rate: 48000 Hz' at the top), "
                "or write the unit into the heading, such as 'Time (ms)'.",
            )
        )  # fmt: skip
    time, values, digits = _in_order(table, column.copy(), values)
    step = float(time[-1] - time[0]) / max(time.size - 1, 1)
    scale = _UNITS.get(unit)
    if scale is None:
        scale = _scale(step, stated)
        table.notes.append(
            f"time without a unit taken as {next(u for u, v in _UNITS.items() if v == scale)}"
        )
    tolerance = digits / step / max(time.size - 1, 1)
    rate = _round_rate(1.0 / (step * scale), tolerance)
    if stated is not None and abs(math.log(rate / stated)) > _SAME + tolerance:
        raise CurveError(
            Problem(
                table.where(0), f"a column of time with {rate:g} samples a second",
                f"{stated:g}, the sampling rate stated",
                "Leave the rate out, or mend the column of time or its unit.",
            )
        )  # fmt: skip
    table.notes.append(f"sampling rate {rate:g} Hz from the column of time")
    return Impulse(values, rate, float(time[0]) * scale)


def _scale(step: float, stated: float | None) -> float:
    """Choose the unit of time that fits the stated rate, else the usual one."""
    if stated is not None:
        return min(_UNITS.values(), key=lambda scale: abs(math.log(step * scale * stated)))
    return 1.0 if step < 0.002 else 1e-3


def _in_order(
    table: Table,
    time: npt.NDArray[np.float64],
    values: npt.NDArray[np.float64],
    *,
    rounded: bool = True,
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64], float]:
    """Sort samples by time; refuse gaps. Also returns the unit of the last printed digit."""
    table.refuse(np.isnan(time), time, "a time")
    order = np.argsort(time, kind="stable")
    if np.any(np.diff(order) < 0):
        table.notes.append("rows sorted by time")
        time, values = time[order], values[order]
    step = float(time[-1] - time[0]) / max(time.size - 1, 1)
    if step <= 0:
        raise CurveError(Problem(table.where(0), "times that do not grow", "a column of time"))
    steps = np.diff(time)
    # Times printed with few digits jitter by half a unit of their last digit at each end.
    digits = _resolution(time) if rounded else 0.0
    if np.any(np.abs(steps - step) > _JITTER * step + 1.01 * digits):
        # The mean step is of no use beside a gap; the median tells where the first one is.
        usual = float(np.median(steps))
        off = np.abs(steps - usual)
        uneven = np.flatnonzero(off > _JITTER * usual + 1.01 * digits)
        place = int(uneven[0]) if uneven.size else int(np.argmax(off))
        raise CurveError(
            Problem(
                table.where(int(order[place + 1])), f"a step of {steps[place]:g} in time",
                f"even steps of {usual:g}",
                "Export the impulse response without leaving out rows.",
            )
        )  # fmt: skip
    return time, values, digits


def _resolution(time: npt.NDArray[np.float64]) -> float:
    """Return the unit of the last printed digit, 0 where the times are not rounded."""
    sample = time[:2000]
    for power in range(13):
        scaled = sample * 10.0**power
        if np.all(np.abs(scaled - np.round(scaled)) < 1e-4):
            return float(10.0**-power)
    return 0.0


def _round_rate(rate: float, tolerance: float) -> float:
    """Take the whole rate where the printed times cannot tell it from the computed one."""
    whole = round(rate)
    near = abs(rate - whole) <= rate * max(tolerance, 1e-7)
    return float(whole) if whole and near else rate
