"""Verbs of the spreadsheet round trip: export, import."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.exchange import apply, export_csv, preview_csv
from experiments.ledger import Ledger
from optimiser.command.options import as_json, in_folder
from optimiser.command.show import print_json

__all__ = ["export_command", "import_command"]


@click.command("export")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option("--comma", is_flag=True, help="Decimal comma, with semicolons between cells.")
@in_folder
@as_json
def export_command(file: Path, comma: bool, folder: Path, json_wanted: bool) -> None:
    """Write the table as a spreadsheet.

    Edit it, then take it in with `coneloop import`. Keep the columns cone, measurement and
    version: rows are matched by them.
    """
    with Ledger.open(folder) as ledger:
        path = export_csv(ledger, file, decimal="," if comma else ".")
        rows = len(ledger.table())
    if json_wanted:
        print_json({"file": str(path), "rows": rows})
    else:
        click.echo(f"wrote {path}: {rows} rows")


@click.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--yes", is_flag=True, help="Do it without asking.")
@click.option("--dry-run", is_flag=True, help="Only show what would change.")
@in_folder
@as_json
def import_command(file: Path, yes: bool, dry_run: bool, folder: Path, json_wanted: bool) -> None:
    """Take an edited spreadsheet in, after a preview."""
    with Ledger.open(folder) as ledger:
        preview = preview_csv(ledger, file)
        if not json_wanted:
            for change in preview.changes:
                click.echo(f"  {change}")
            for warning in getattr(preview, "warnings", ()):
                click.echo(f"note: {warning}", err=True)
        # Problems are raised by `apply`; a dry run has to say them as well.
        done = not dry_run and (
            yes
            or bool(preview.problems)
            or not preview.changes
            or click.confirm("Take this in?", err=True)
        )
        if done or preview.problems:
            told = apply(ledger, preview)
        else:
            told = "nothing was changed"
    if json_wanted:
        print_json(
            {"changes": [str(each) for each in preview.changes], "done": done, "text": told}
        )
    else:
        click.echo(told)
