"""Verb: measure."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import nullcontext
from pathlib import Path

import click
from rich.text import Text

from experiments.acoustics.catalogue import KINDS
from experiments.acoustics.options import Options
from experiments.circumstances import climate_remarks
from experiments.drive import drive_cautions
from experiments.ledger import Ledger
from experiments.measuring import Measured, measure_files
from experiments.plan import Plan
from experiments.records import Measurement
from experiments.slips import session_remark
from experiments.trials import is_mass
from optimiser import wording
from optimiser.cautions import MEASURING
from optimiser.command.microphone import sensitivity_of
from optimiser.command.options import (
    NUMBER,
    as_json,
    cone_argument,
    in_folder,
    name_pairs,
    parse_number,
    parse_pairs,
)
from optimiser.command.remarks import print_remarks
from optimiser.command.show import console, print_json, print_notes, print_table, progress

__all__ = ["measure_command"]


@click.command("measure", epilog=f"Take care. {' '.join(MEASURING.lines)}")
@cone_argument
@click.argument("files", nargs=-1, type=click.Path(path_type=Path), metavar="FILE...")
@click.option("--session", required=True, metavar="NAME", help="The sitting at the test platform.")
@click.option(
    "--value",
    "pairs",
    multiple=True,
    metavar="METRIC=NUMBER",
    help="A value entered by hand, in the plan's unit; may be repeated.",
)
@click.option(
    "--kind",
    "kinds",
    multiple=True,
    metavar="[FILE=]KIND",
    help=f"What a file holds, if it is mistaken: {', '.join(KINDS)}. May be repeated.",
)
@click.option(
    "--calibrator",
    metavar="FILE[:DB]",
    help="The session's recording of a sound calibrator, 94 dB if not said.",
)
@click.option("--age-days", type=NUMBER, metavar="DAYS", help="Age of the cone.")
@click.option("--light-hours", type=NUMBER, metavar="HOURS", help="Hours it spent in the light.")
@click.option("--temperature", type=NUMBER, metavar="CELSIUS", help="Of the room, in degrees C.")
@click.option("--humidity", type=NUMBER, metavar="PERCENT", help="Relative humidity of the room.")
@click.option("--note", default="", metavar="TEXT", help="A remark.")
@in_folder
@as_json
def measure_command(
    cone: int,
    files: tuple[Path, ...],
    session: str,
    pairs: tuple[str, ...],
    kinds: tuple[str, ...],
    calibrator: str | None,
    age_days: float | None,
    light_hours: float | None,
    temperature: float | None,
    humidity: float | None,
    note: str,
    folder: Path,
    json_wanted: bool,
) -> None:
    """Store a cone's raw measurement files and compute its metrics.

    One call is one mounting on the test platform: give all of its files together.
    """
    with Ledger.open(folder) as ledger:
        ledger.cone(cone)  # an unknown cone is told before the files are read
        values = _values(ledger.plan, pairs)
        channel = ledger.plan.rig.get("sweep", {}).get("channel")
        options = Options(sensitivity_dbfs=sensitivity_of(calibrator, None, channel))
        title = f"listening to {wording.many(len(files), 'file')}"
        with progress(title) if files else nullcontext():
            measured = measure_files(
                ledger.plan, files, kinds=_kinds(kinds), hand=values, options=options
            )
        odd_session = session_remark(session.strip(), ledger.sessions()["session"])
        key = ledger.measure(
            cone,
            session=session,
            curves=measured.curves,
            values=measured.values,
            warnings=[*measured.warnings, *drive_cautions(ledger, cone, session, measured)],
            by_hand=measured.by_hand,
            age_days=age_days,
            light_hours=light_hours,
            temperature_c=temperature,
            humidity_percent=humidity,
            note=note,
        )
        stored = next(each for each in ledger.measurements(cone) if each.id == key)
        if json_wanted:
            print_json({"measurement": stored, "notes": measured.notes})
        else:
            _print(ledger.plan, stored, measured, ledger.cone(cone).mass)
        climate = {"temperature_c": temperature, "humidity_percent": humidity}
        odd = [odd_session] if odd_session else []
        print_remarks(ledger, cone, values, further=[*odd, *climate_remarks(climate)])


def _values(plan: Plan, pairs: tuple[str, ...]) -> dict[str, float]:
    """Read what was typed behind ``--value``; a metric may be called by its label."""
    named = name_pairs(parse_pairs(pairs, "--value"), plan.metrics, "--value")
    return {name: parse_number(text, f"--value {name}") for name, text in named.items()}


def _kinds(texts: tuple[str, ...]) -> dict[str | Path, str] | str | None:
    """Read ``KIND`` for all files, or ``FILE=KIND`` for each."""
    if not texts:
        return None
    named: dict[str | Path, str] = {}
    for text in texts:
        name, sign, kind = text.rpartition("=")
        if kind not in KINDS:
            raise click.BadParameter(f"--kind: found {kind!r}, expected one of {', '.join(KINDS)}")
        if not sign and len(texts) == 1:
            return kind
        if not sign:
            raise click.BadParameter(f"--kind: found {text!r}, expected FILE={kind}")
        named[name] = kind
    return named


def _print(plan: Plan, stored: Measurement, measured: Measured, weighed: float | None) -> None:
    """Print the values, what is missing and why, and how the files were read.

    `weighed` is the mass that was recorded on printing, which counts where none was given now.
    """
    rows = []
    for name, metric in plan.metrics.items():
        value = stored.values.get(name)
        source: str = "by hand" if name in stored.by_hand else metric.source
        if value is None and weighed is not None and is_mass(metric):
            value, source = weighed, "printing"
        elif value is None and name not in measured.by_hand:
            source = wording.UNKNOWN
        shown = wording.with_unit(wording.number(value), metric.unit)
        rows.append([metric.label, shown, source])
    console().print(Text(f"Cone {stored.cone} measured in session {stored.session}", style="bold"))
    print_table("", ["metric", "value", "from"], rows)
    print_notes([str(warning) for warning in stored.warnings], title="Warnings")
    print_notes(_by_file(measured.notes), title="How it was read")


def _by_file(notes: Iterable[str]) -> list[str]:
    """Gather what is said about a file in one item: ``response.txt: this; that``."""
    gathered: dict[str, list[str]] = {}
    for note in notes:
        file, _, said = note.partition(": ")
        gathered.setdefault(file, []).append(said)
    return [f"{file}: {'; '.join(said)}" for file, said in gathered.items()]
