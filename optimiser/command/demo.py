"""Verb: demo."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import click
from rich.padding import Padding
from rich.text import Text

from experiments.ledger import Ledger
from optimiser import fit, propose, wording
from optimiser.answers import Pick
from optimiser.command.demo_data import demo_folder, log_trials, read_trials
from optimiser.command.options import as_json
from optimiser.command.picks import pick_record, print_pick
from optimiser.command.show import console, print_calibration, print_json, print_notes, progress
from optimiser.gathering import gather_material
from optimiser.material import Material
from optimiser.planning import plan_picks
from optimiser.report import write_report
from optimiser.reproducing import proposal_record

__all__ = ["demo_command"]

_MARK = "demo.txt"
_MARK_TEXT = (
    "This folder is the demo of coneloop. All of it is invented: no such radio, workshop, resin\n"
    "or filament exists. `coneloop demo FOLDER --again` makes it anew.\n"
)
_OURS = ("experiment.toml", "experiment.db", "experiment.db-wal", "experiment.db-shm", _MARK)


@dataclass(frozen=True)
class _Demo:
    """What the demo made."""

    material: Material
    picks: list[Pick]
    numbers: list[int]
    plate: int | None
    cards: list[Path]
    report: Path


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path), default=Path("kitchen-radio"))
@click.option("--again", is_flag=True, help="Replace an earlier demo in that folder.")
@as_json
def demo_command(folder: Path, again: bool, json_wanted: bool) -> None:
    """Build the demo experiment and run the whole loop on it.

    All of its data are invented. FOLDER is ./kitchen-radio if not given. Takes under a minute.
    """
    source = demo_folder()
    _make_room(folder, again)
    with progress("building the demo") as tell:
        text = (source / "experiment.toml").read_text(encoding="utf-8")
        with Ledger.create(folder, text) as ledger:
            (folder / _MARK).write_text(_MARK_TEXT, encoding="utf-8")
            log_trials(ledger, source, lambda share, said: tell(0.55 * share, said))
            made = _loop(ledger, lambda share, said: tell(0.55 + 0.45 * share, said))
            if json_wanted:
                _print_json(folder, made)
                return
            plan, rows = ledger.plan, len(read_trials(source))
    click.echo(f"{plan.name}: {rows} rows of invented trials, measured from their raw files\n")
    for pick, number in zip(made.picks, made.numbers, strict=True):
        print_pick(plan, pick, number, made.plate)
    _print_rest(folder, made)


def _loop(ledger: Ledger, tell: Callable[[float, str], None]) -> _Demo:
    """Fit, choose and record the next cone, gather the answers, write the report."""
    plan, trials = ledger.plan, ledger.table()
    tell(0.0, "learning the metrics")
    model = fit(plan, trials, seed=plan.seed)
    tell(0.15, "choosing the next cone")
    picks = propose(plan, trials, 1, plan.seed, model=model)
    told = proposal_record(
        picks, seed=plan.seed, plan=plan.digest, data=ledger.data_digest(), count=1
    )
    numbers, plate, cards = plan_picks(ledger, picks, told)
    # Learnt anew, with the new cone on the table: what is told is what the verbs will tell.
    material = gather_material(
        ledger,
        made=f"{datetime.now(UTC):%Y-%m-%d}",
        progress=lambda share, said: tell(0.2 + 0.7 * share, said),
    )
    tell(0.9, "writing the report")
    report = write_report(material, ledger.folder / "report.html")
    return _Demo(material, picks, numbers, plate, cards, report)


def _make_room(folder: Path, again: bool) -> None:
    """Refuse a folder with other things in it; clear an earlier demo if that was asked for."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise click.UsageError(f"found a file at {folder}, expected a new folder")
    if not any(folder.iterdir()):
        return
    if not (folder / _MARK).is_file():
        raise click.UsageError(
            f"found other files in {folder}, expected a new or empty folder. "
            "Name another one: coneloop demo FOLDER"
        )
    if not again:
        raise click.UsageError(
            f"found an earlier demo in {folder}. Add --again to replace it, or name another folder"
        )
    for path in [*(folder / "cards").glob("cone_*.html"), folder / "report.html"]:
        path.unlink(missing_ok=True)
    for name in _OURS:
        (folder / name).unlink(missing_ok=True)


def _print_json(folder: Path, made: _Demo) -> None:
    """Print everything as one document."""
    pairs = zip(made.picks, made.numbers, made.cards, strict=True)
    print_json(
        {
            "folder": str(folder),
            "report": str(made.report),
            "picks": [pick_record(pick, number, str(card)) for pick, number, card in pairs],
            "knobs": made.material.knobs,
            "outlook": made.material.outlook,
            "notes": made.material.notes,
        }
    )


def _print_rest(folder: Path, made: _Demo) -> None:
    """Print the answers in a sentence each, where everything lies, and what to try."""
    screen, material = console(), made.material
    screen.print()
    for title, text in (("Knobs", material.knobs.text), ("Outlook", material.outlook.text)):
        screen.print(Text(title, style="bold"))
        screen.print(Padding(Text(text), (0, 0, 0, 2)))
    labels = wording.describe(material.plan)
    print_calibration(material.calibration, material.knobs.cones, labels, whole=True)
    print_notes(material.notes)
    click.echo(f"\nreport: {made.report}")
    for card in made.cards:
        click.echo(f"card:   {card}")
    click.echo(f"Look around: coneloop table --in {folder}; coneloop knobs --in {folder}")
