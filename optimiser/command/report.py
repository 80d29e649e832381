"""Verb: report."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import click

from experiments.ledger import Ledger
from optimiser.command.options import as_json, in_folder, random_seed
from optimiser.command.show import print_json, progress
from optimiser.gathering import gather_material
from optimiser.report import write_report

__all__ = ["report_command"]


@click.command("report")
@click.argument(
    "file", type=click.Path(dir_okay=False, path_type=Path), required=False, metavar="[FILE.html]"
)
@random_seed
@in_folder
@as_json
def report_command(file: Path | None, seed: int | None, folder: Path, json_wanted: bool) -> None:
    """Write the whole experiment as one self-contained page.

    Without FILE.html it is report.html in the experiment's folder.
    """
    path = file or folder / "report.html"
    with Ledger.open(folder) as ledger, progress("writing the report") as tell:
        material = gather_material(
            ledger, seed=seed, made=f"{datetime.now(UTC):%Y-%m-%d}", progress=tell
        )
    try:
        write_report(material, path)
    except OSError as error:
        raise click.FileError(str(path), hint=error.strerror or str(error)) from None
    if json_wanted:
        print_json({"file": str(path), "bytes": path.stat().st_size, "notes": material.notes})
    else:
        click.echo(f"wrote {path}")
