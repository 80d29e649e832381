"""What the value of a metric cannot be: a frequency of nothing, a time below zero."""

from __future__ import annotations

from experiments.acoustics.catalogue import resolve
from experiments.plan import Metric
from experiments.trials import is_mass

__all__ = ["wanted_instead"]

_FREQUENCIES = {"hz", "khz"}
_TIMES = {"ms", "s", "min", "h"}


def wanted_instead(metric: Metric, value: float) -> str:
    """Say what a value must be that no cone can have.

    Parameters
    ----------
    metric : Metric
        Whose unit, or whose measure, tells what is possible.
    value : float
        In that unit.

    Returns
    -------
    str
        Such as ``a frequency above 0 kHz``; empty where the value is possible.
    """
    unit = metric.unit.strip().casefold()
    if value <= 0 and (unit in _FREQUENCIES or is_mass(metric)):
        what = "mass" if is_mass(metric) else "frequency"
        return f"a {what} above 0 {metric.unit or 'g'}"
    if value < 0 and unit in _TIMES:
        return f"a time of 0 {metric.unit} or more"
    if value < 0 and _is_share(metric):
        return "a share of 0 % or more"
    return ""


def _is_share(metric: Metric) -> bool:
    """Whether it is a distortion; a percentage of the maker's own may be a change, below 0."""
    try:
        return metric.unit == "%" and resolve(metric.measure).unit == "%"
    except KeyError:
        return False
