"""Verb: check."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.checking import check_experiment
from experiments.errors import ExperimentError
from experiments.ledger import Ledger
from optimiser import wording
from optimiser.command.failure import problem_records
from optimiser.command.options import as_json, in_folder
from optimiser.command.show import print_json
from optimiser.remarks import experiment_remarks

__all__ = ["check_command"]


@click.command("check")
@in_folder
@as_json
def check_command(folder: Path, json_wanted: bool) -> int:
    """Check plan, store and curves: everything that is wrong, at once."""
    problems = check_experiment(folder)
    about, counts, notes = _about(folder)
    if json_wanted:
        print_json({**about, **counts, "problems": problem_records(problems), "notes": notes})
        return 2 if problems else 0
    if about:
        counted = [wording.many(n, thing.rstrip("s")) for thing, n in counts.items()]
        click.echo(f"{about['plan']}: {', '.join(counted)}")
    for problem in problems:
        click.echo(f"error: {problem}", err=True)
    for note in notes:
        click.echo(f"note: {note}", err=True)
    if not problems:
        click.echo("nothing is wrong")
    return 2 if problems else 0


def _about(folder: Path) -> tuple[dict[str, str], dict[str, int], list[str]]:
    """Say and count what was checked, and what is left over.

    Empty where the plan or the store cannot be used.
    """
    try:
        with Ledger.open(folder) as ledger:
            plan, cones, measurements = ledger.plan, ledger.cones(), ledger.measurements()
            notes = experiment_remarks(ledger)
    except ExperimentError:
        return {}, {}, []
    counts = {
        "variables": len(plan.variables),
        "metrics": len(plan.metrics),
        "cones": len(cones),
        "measurements": len(measurements),
        "files": sum(len(each.files) for each in measurements),
    }
    return {"plan": plan.name, "digest": plan.digest}, counts, notes
