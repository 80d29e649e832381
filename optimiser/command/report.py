"""Verb: report."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from experiments.ledger import Ledger
from experiments.outputs import Kind, check_output, is_sealed
from optimiser.command.options import as_json, force_option, in_folder, random_seed
from optimiser.command.show import print_json, progress
from optimiser.gathering import gather_material
from optimiser.report import write_report

__all__ = ["report_command"]


_PAGE = Kind("a report", (".html", ".htm"), is_sealed)


@click.command("report")
@click.argument("file", type=click.Path(path_type=Path), required=False, metavar="[FILE.html]")
@force_option
@random_seed
@in_folder
@as_json
def report_command(
    file: Path | None, force: bool, seed: int | None, folder: Path, json_wanted: bool
) -> None:
    """Write the whole experiment as one self-contained page.

    Without FILE.html it is report.html in the experiment's folder.
    """
    path = file or folder / "report.html"
    with Ledger.open(folder) as ledger:
        check_output(path, _PAGE, force=force)
        with progress("writing the report") as tell:
            material = gather_material(
                ledger, seed=seed, made=f"{datetime.now(UTC):%Y-%m-%d}", progress=tell
            )
    write_report(material, path)
    if json_wanted:
        print_json({"file": str(path), "bytes": path.stat().st_size, "notes": material.notes})
    else:
        click.echo(f"wrote {path}")
