"""Verbs of the spreadsheet round trip: export, import."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.exchange import Preview, apply, export_table, preview_csv
from experiments.ledger import Ledger
from optimiser import wording
from optimiser.command.options import as_json, confirmed, force_option, in_folder
from optimiser.command.show import print_json

__all__ = ["export_command", "import_command"]


@click.command("export")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@click.option(
    "--comma", is_flag=True, help="Decimal comma, with semicolons between cells (CSV only)."
)
@force_option
@in_folder
@as_json
def export_command(file: Path, comma: bool, force: bool, folder: Path, json_wanted: bool) -> None:
    """Write the table as a spreadsheet.

    FILE ends in .csv or .xlsx. Edit it, then take it in with `coneloop import`. Keep the columns
    cone, measurement and version: rows are matched by them.
    """
    with Ledger.open(folder) as ledger:
        path = export_table(ledger, file, decimal="," if comma else ".", force=force)
        rows = len(ledger.table(strict=False))
    if json_wanted:
        print_json({"file": str(path), "rows": rows})
    else:
        click.echo(f"wrote {path}: {wording.many(rows, 'row')}")


@click.command("import")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--yes", is_flag=True, help="Do it without asking.")
@click.option("--dry-run", is_flag=True, help="Only show what would change.")
@in_folder
@as_json
def import_command(file: Path, yes: bool, dry_run: bool, folder: Path, json_wanted: bool) -> None:
    """Take an edited spreadsheet in, after a preview.

    FILE is a CSV file or a workbook (.xlsx). Formulas are never worked out. All of it is taken in
    as one act, which `coneloop undo` takes back, or nothing where a single cell is refused.
    """
    with Ledger.open(folder) as ledger:
        preview = preview_csv(ledger, file)
        if not json_wanted:
            for change in preview.changes:
                click.echo(f"  {change}")
            for note in preview.notes:
                click.echo(f"note: {note}", err=True)
        wanted = not dry_run and bool(preview.changes)
        if wanted and not preview.problems and not yes:
            wanted = confirmed(f"Take this in, all as one act ({preview.headline})?")
        # A dry run has to say the problems as well; `apply` raises them all.
        done = wanted or bool(preview.problems)
        told = apply(ledger, preview) if done else _nothing(preview, dry_run)
    if json_wanted:
        changes = [
            {name: getattr(each, name) for name in ("row", "cone", "column", "before", "after")}
            for each in preview.changes
        ]
        print_json({"done": done, "changes": changes, "notes": preview.notes, "text": told})
    else:
        click.echo(told)


def _nothing(preview: Preview, dry_run: bool) -> str:
    """Say why nothing was changed."""
    if not preview.changes:
        return f"nothing to change: {preview.path.name} says what the table says"
    if dry_run:
        return f"nothing was changed (--dry-run); to take in: {preview.headline}"
    return "nothing was changed"
