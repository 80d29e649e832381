"""What ``table --spread`` prints."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from optimiser.answer_tables import spread_table, within
from optimiser.command.show import print_json, print_notes, print_rows, print_text, progress
from optimiser.spread import estimate_spread

if TYPE_CHECKING:
    import pandas as pd

    from experiments.plan import Plan

__all__ = ["show_spread"]


def show_spread(plan: Plan, trials: pd.DataFrame, *, json_wanted: bool) -> None:
    """Print how far measurements scatter.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement.
    json_wanted : bool
        Print one JSON document instead.
    """
    with progress("splitting the spread") as tell:
        answer = estimate_spread(plan, trials, progress=tell)
    if json_wanted:
        print_json(answer)
        return
    print_rows(spread_table(answer), right=[3, 4, 5])
    scale = "%: of the metric's value; " if any(each.relative for each in answer.metrics) else ""
    click.echo(f"  {scale}df: independent comparisons; n: measurements\n")
    told = ", ".join(f"{label} {half}" for label, half in within(answer))
    if told:
        whole = "Nine of ten measurements of new prints lie within ± of their recipe's mean"
        print_text(f"{whole}: {told}.")
    print_text(answer.text)
    remarks = [
        f"{each.source} of {metric.label}: {each.remark}"
        for metric in answer.metrics
        for each in metric.components
        if each.remark
    ]
    print_notes([*_gathered(remarks), *answer.notes], title="Notes")


def _gathered(remarks: list[str]) -> list[str]:
    """Say a remark once, with everything that it is about."""
    about: dict[str, list[str]] = {}
    for remark in remarks:
        what, _, why = remark.partition(": ")
        about.setdefault(why, []).append(what)
    return [f"{', '.join(what)}: {why}" for why, what in about.items()]
