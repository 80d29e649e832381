"""Remarks on stderr about what was recorded but may be a slip of the finger."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping

import click

from experiments.ledger import Ledger
from optimiser.remarks import entry_remarks

__all__ = ["print_remarks"]


def print_remarks(
    ledger: Ledger,
    cone: int,
    numbers: Mapping[str, float | None],
    settings: Collection[str] = (),
    *,
    further: Iterable[str] = (),
) -> None:
    """Say what is odd about values that were recorded just now; nothing if nothing is.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    cone : int
        Whose values they are.
    numbers : mapping
        Metric, ``mass`` (grams) or ``minutes`` to number; None is passed over.
    settings : collection of str
        The variables that a person gave.
    further : iterable of str
        Remarks besides.
    """
    remarks = [*further, *entry_remarks(ledger, cone, numbers, settings)]
    for remark in remarks:
        click.echo(f"note: {remark}", err=True)
    if remarks:
        click.echo("If that is a slip, `coneloop undo` takes it back.", err=True)
