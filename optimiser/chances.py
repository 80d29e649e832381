"""The chance that a recipe prints, in words."""

from __future__ import annotations

from optimiser.records.estimates import Estimate
from optimiser.wording import many, percent

__all__ = ["chance_to_print"]


def chance_to_print(prints: float, printing: Estimate) -> str:
    """Write the chance that a recipe prints, with its interval and the prints behind it.

    Examples
    --------
    >>> chance_to_print(0.77, Estimate(0.77, 0.41, 0.95, 28)).replace("\N{NO-BREAK SPACE}", " ")
    '77 % (41 to 95), from 28 prints'
    """
    if not printing.known:
        return percent(prints)
    # Never a certainty, as in `percent`.
    ends = " to ".join(
        f"{min(max(100 * each, 1), 99):.0f}" for each in (printing.low, printing.high)
    )
    return f"{percent(prints)} ({ends}), from {many(printing.cones, 'print')}"
