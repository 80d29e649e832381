"""Verb: check."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser.command.options import as_json, in_folder
from optimiser.command.show import print_json

__all__ = ["check_command"]


@click.command("check")
@in_folder
@as_json
def check_command(folder: Path, json_wanted: bool) -> int:
    """Check plan, store and curves: everything that is wrong, at once."""
    with Ledger.open(folder) as ledger:
        problems = ledger.check()
        plan, cones = ledger.plan, ledger.cones()
        measurements = ledger.measurements()
    files = sum(len(each.files) for each in measurements)
    if json_wanted:
        print_json(
            {
                "plan": plan.name,
                "digest": plan.digest,
                "cones": len(cones),
                "measurements": len(measurements),
                "files": files,
                "problems": problems,
            }
        )
    else:
        click.echo(
            f"{plan.name}: {len(plan.variables)} variables, {len(plan.metrics)} metrics, "
            f"{len(cones)} cones, {len(measurements)} measurements, {files} raw files"
        )
        for problem in problems:
            click.echo(f"error: {problem}", err=True)
        if not problems:
            click.echo("nothing is wrong")
    return 2 if problems else 0
