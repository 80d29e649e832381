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
from optimiser.report_markdown import check_pictures, write_markdown

__all__ = ["report_command"]


_MARKDOWN = (".md", ".markdown")
_REPORT = Kind("a report", (".html", ".htm", *_MARKDOWN), is_sealed)


@click.command("report")
@click.argument("file", type=click.Path(path_type=Path), required=False, metavar="[FILE]")
@force_option
@random_seed
@in_folder
@as_json
def report_command(
    file: Path | None, force: bool, seed: int | None, folder: Path, json_wanted: bool
) -> None:
    """Write the whole experiment as one self-contained page, or as Markdown.

    Without FILE it is report.html in the experiment's folder. FILE.md is Markdown for a web post,
    its pictures as PNG in the folder FILE_pictures beside it.
    """
    path = file or folder / "report.html"
    markdown = path.suffix.lower() in _MARKDOWN
    with Ledger.open(folder) as ledger:
        check_output(path, _REPORT, force=force)
        if markdown:
            check_pictures(path)
        with progress("writing the report") as tell:
            material = gather_material(
                ledger, seed=seed, made=f"{datetime.now(UTC):%Y-%m-%d}", progress=tell
            )
            written = (
                write_markdown(material, path, force=force)
                if markdown
                else [write_report(material, path)]
            )
    if json_wanted:
        pictures = [str(each) for each in written[1:]]
        told = {"file": str(path), "bytes": path.stat().st_size, "pictures": pictures}
        print_json({**told, "notes": material.notes})
        return
    click.echo(f"wrote {path}")
    if markdown:
        click.echo(f"wrote {len(written) - 1} pictures in {written[1].parent}")
