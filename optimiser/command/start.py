"""Verb: start."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from experiments.template import PLAN_TEMPLATE
from optimiser.command.options import as_json
from optimiser.command.show import print_json

__all__ = ["start_command"]


@click.command("start")
@click.argument("folder", type=click.Path(path_type=Path))
@as_json
def start_command(folder: Path, json_wanted: bool) -> None:
    """Start a new experiment with a commented plan.

    Edit experiment.toml in the new folder, then run `coneloop check` there.
    """
    with Ledger.create(folder, PLAN_TEMPLATE) as ledger:
        name = ledger.plan.name
    if json_wanted:
        print_json({"folder": str(folder), "plan": str(folder / "experiment.toml"), "name": name})
        return
    click.echo(f"started {folder}: edit {folder / 'experiment.toml'}, then")
    click.echo(f"  coneloop check --in {folder}")
    click.echo(f"  coneloop next --count 4 --in {folder}")
