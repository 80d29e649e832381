"""Verbs that keep an experiment safe: backup, restore, rescue."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path

import click

from experiments.ledger import Ledger
from experiments.rescuing import rescue
from experiments.restoring import preview_restore, restore
from experiments.view import user_name
from optimiser import wording
from optimiser.cards import withdraw_cards
from optimiser.command.options import as_json, force_option, in_folder
from optimiser.command.show import print_json
from optimiser.keeping_words import restoring_lines

__all__ = ["backup_command", "rescue_command", "restore_command"]


@click.command("backup")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@force_option
@in_folder
@as_json
def backup_command(file: Path, force: bool, folder: Path, json_wanted: bool) -> None:
    """Copy the whole experiment to one file, and read it back.

    Store, raw files, history and plan are inside; others may go on working meanwhile. Keep it on
    another disk. `coneloop restore` puts it back.
    """
    with Ledger.open(folder) as ledger:
        copy = ledger.backup(file, force=force)
    if json_wanted:
        print_json({name: value for name, value in asdict(copy).items() if name != "plan"})
        return
    counts = {"cone": copy.cones, "measurement": copy.measurements, "raw file": copy.files}
    held = ", ".join(wording.many(count, thing) for thing, count in counts.items())
    click.echo(f"wrote {file}: {held}; read back and verified")


@click.command("restore")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--yes", is_flag=True, help="Do it without asking.")
@click.option("--dry-run", is_flag=True, help="Only show what would change.")
@in_folder
@as_json
def restore_command(file: Path, yes: bool, dry_run: bool, folder: Path, json_wanted: bool) -> None:
    """Put a backup back, after a preview.

    What is in the folder now is kept first, in its folder backups. Print cards of cones that are
    no more are removed.
    """
    look = preview_restore(folder, file)
    if not json_wanted:
        for line in restoring_lines(look):
            click.echo(f"  {line}")
    wanted = not dry_run and not look.nothing
    if wanted and not yes:
        wanted = click.confirm("Put it back?", err=True)
    text = "nothing was changed"
    if look.nothing:
        text = f"nothing to change: all is as in {file.name}"
    elif wanted:
        before = set() if look.damage else _cones(folder)
        text = restore(folder, file, who=user_name())
        withdraw_cards(folder, sorted(before - _cones(folder)))
    if json_wanted:
        told = {
            name: getattr(look, name)
            for name in ("damage", "taken", "brought", "plan_changes", "cones")
        }
        print_json({"done": wanted, **told, "text": text})
    else:
        click.echo(text)


def _cones(folder: Path) -> set[int]:
    with Ledger.open(folder) as ledger:
        return {cone.number for cone in ledger.cones()}


@click.command("rescue")
@click.argument(
    "source", type=click.Path(exists=True, file_okay=False, path_type=Path), metavar="FOLDER"
)
@click.argument("target", type=click.Path(path_type=Path), required=False, metavar="[NEWFOLDER]")
@as_json
def rescue_command(source: Path, target: Path | None, json_wanted: bool) -> None:
    """Write what can still be read of a damaged experiment anew.

    By default the new folder lies beside the old one and is called FOLDER-rescued. Nothing in the
    old folder is touched. Only what is certain to be as it was written is taken over; what is lost
    is listed, here and in rescue.txt in the new folder.
    """
    target = target or source.resolve().with_name(f"{source.resolve().name}-rescued")
    told = rescue(source, target, who=user_name())
    if json_wanted:
        print_json({"folder": str(target), **asdict(told), "next": told.steps(target)})
        return
    for line in told.lines():
        click.echo(line)
    click.echo(f"wrote {target}; the damaged folder is as it was")
    for step in told.steps(target):
        click.echo(f"next: {step}")
