"""Templates of the print card and the report: one environment, everything escaped."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined

from optimiser import wording
from optimiser.figures.style import DARK, LIGHT

__all__ = ["environment"]


@cache
def environment() -> Environment:
    """Give the template environment: escaping on, a missing name is an error."""
    made = Environment(
        loader=PackageLoader("optimiser", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        interval=wording.interval,
        number=wording.number,
        percent=wording.percent,
        duration=wording.duration,
        setting=wording.setting,
        with_unit=wording.with_unit,
        capital=wording.capital,
        unbroken=wording.unbroken,
    )
    made.globals.update(light=LIGHT, dark=DARK)
    return made
