"""Verbs of the archive: pack, unpack."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.archives import GIGABYTE, Inside
from experiments.ledger import Ledger
from experiments.packing import pack
from experiments.unpacking import MOST, inspect, unpack
from optimiser.command.options import NUMBER, as_json, confirmed, force_option, in_folder
from optimiser.command.show import print_json, progress
from optimiser.keeping_words import file_size

__all__ = ["pack_command", "unpack_command"]


@click.command("pack")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@force_option
@in_folder
@as_json
def pack_command(file: Path, force: bool, folder: Path, json_wanted: bool) -> None:
    """Write the whole experiment into one archive.

    FILE is a ZIP archive with plan and store; the raw files and the whole history, names of
    people included, are in the store. Print cards stay behind.
    """
    with Ledger.open(folder) as ledger, progress("packing and reading back"):
        inside = pack(ledger, file, force=force)
    size = file.stat().st_size
    if json_wanted:
        print_json({"file": str(file), "bytes": size, **_record(inside)})
        return
    click.echo(f"wrote {file}: {file_size(size)}, read back and verified")
    click.echo("The history in it names who did what. Print cards stayed behind.")


@click.command("unpack")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Do it without asking.")
@click.option("--dry-run", is_flag=True, help="Only show what the archive holds.")
@click.option(
    "--most",
    type=NUMBER,
    default=MOST / GIGABYTE,
    show_default=True,
    metavar="GB",
    help="Refuse what would take more room.",
)
@as_json
def unpack_command(
    file: Path, folder: Path, yes: bool, dry_run: bool, most: float, json_wanted: bool
) -> None:
    """Take an experiment out of an archive into a new folder.

    The archive may come from a stranger. Its size is told before anything is written; it holds
    data only, which is verified before the folder appears.
    """
    bound = int(min(max(most, 0.0), 1e6) * GIGABYTE)
    inside = inspect(file, folder, most=bound)
    if not json_wanted:
        click.echo(f"{file.name}: experiment {inside.name!r}, packed {inside.made}")
        for entry in inside.entries:
            click.echo(f"  {entry.name}: {file_size(entry.size)}")
    wanted = not dry_run
    if wanted and not yes:
        wanted = confirmed(f"Write {file_size(inside.size)} to {folder}?")
    if wanted:
        with progress("unpacking and verifying"):
            inside = unpack(file, folder, most=bound)
    if json_wanted:
        print_json({"done": wanted, "folder": str(folder), **_record(inside)})
    elif wanted:
        click.echo(f"unpacked to {folder}; look at it with `coneloop check --in {folder}`")
    else:
        click.echo("nothing was written")


def _record(inside: Inside) -> dict[str, object]:
    return {"experiment": inside.name, "made": inside.made, "files": inside.entries}
