"""Remarks on stderr about what was recorded but may be a slip of the finger."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

import click

from experiments.ledger import Ledger
from experiments.plan import Metric
from experiments.slips import number_remark, recipe_remarks
from experiments.trials import is_mass

__all__ = ["remark_on_numbers", "remark_on_recipe"]

_UNITS = {"mass": "g", "minutes": "min"}


def remark_on_recipe(ledger: Ledger, cone: int, typed: Collection[str]) -> None:
    """Say which typed settings lie outside the plan, and which rules the recipe breaks."""
    if typed:
        settings = ledger.cone(cone).settings
        _tell(recipe_remarks(ledger.plan, ledger.space, settings, typed))


def remark_on_numbers(ledger: Ledger, cone: int, typed: Mapping[str, float | None]) -> None:
    """Say which numbers lie far from those of the other cones, or from poor and good.

    Parameters
    ----------
    ledger : Ledger
        The experiment, in which they are recorded already.
    cone : int
        Whose they are.
    typed : mapping
        Metric, ``mass`` (grams) or ``minutes`` to number; None is passed over.
    """
    given = {name: value for name, value in typed.items() if value is not None}
    if not given:
        return
    plan, frame = ledger.plan, ledger.full_table()
    # One number a cone: its first, since a cone heard ten times is one witness.
    others = frame[frame["cone"] != cone].groupby("cone").first()
    weighed = next((name for name, one in plan.metrics.items() if is_mass(one)), "mass_g")
    for name, value in given.items():
        column = weighed if name == "mass" else name
        metric = plan.metrics.get(column)
        unit = (metric.unit if metric else "") or _UNITS.get(name, "")
        _tell(
            [
                number_remark(
                    metric.label if metric else name,
                    value,
                    others[column].dropna(),
                    unit=unit,
                    ends=_ends(metric),
                )
            ]
        )


def _ends(metric: Metric | None) -> list[float]:
    """Give the numbers that the plan calls poor and good; a target has two poor ones."""
    ends: list[float] = []
    for end in (metric.poor, metric.good) if metric is not None else ():
        ends += end if isinstance(end, tuple) else [] if end is None else [end]
    return ends


def _tell(remarks: Iterable[str | None]) -> None:
    told = [remark for remark in remarks if remark]
    for remark in told:
        click.echo(f"note: {remark}", err=True)
    if told:
        click.echo("note: check it; `coneloop undo` takes it back", err=True)
