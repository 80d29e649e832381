"""Verb: listen."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from experiments.acoustics import MEASURES, Listening, Options, Sweep, listen
from experiments.acoustics.catalogue import KINDS
from experiments.acoustics.excitation import read_excitation
from experiments.errors import CurveError
from optimiser.command.microphone import sensitivity_of
from optimiser.command.options import NUMBER, Whole, as_json, parse_number, picture_files
from optimiser.command.show import print_json, print_notes, print_table, save_picture
from optimiser.heard import value_text
from optimiser.heard_picture import draw_heard

__all__ = ["listen_command"]


def _band(text: str | None) -> tuple[float, float] | None:
    """Read ``LOW:HIGH`` in Hz."""
    if text is None:
        return None
    low, sign, high = text.partition(":")
    if not sign:
        raise click.BadParameter(f"--band: found {text!r}, expected LOW:HIGH such as 200:5000")
    return parse_number(low, "--band"), parse_number(high, "--band")


def _sweep(text: str | None, file: Path | None) -> Sweep | None:
    """Take the excitation from its settings or from its file."""
    if text is not None and file is not None:
        raise click.BadParameter("--excitation: found --sweep beside it, expected one of the two")
    if file is not None:
        found = read_excitation(file)
        click.echo(found.note, err=True)
        return found.sweep
    return Sweep.from_text(text) if text is not None else None


@click.command("listen")
@click.argument(
    "files", nargs=-1, required=True, type=click.Path(path_type=Path), metavar="FILE..."
)
@click.option(
    "--kind", type=click.Choice(KINDS), help="What the files hold; found out if not given."
)
@click.option("--band", metavar="LOW:HIGH", help="Band in Hz.")
@click.option("--smooth", type=NUMBER, metavar="N", help="Smooth by 1/N octave.")
@click.option(
    "--drop", type=NUMBER, metavar="DB", help="Drop that ends the range; 10 dB by default."
)
@click.option("--sweep", metavar="F1:F2:SECONDS", help="The excitation of a sweep recording.")
@click.option(
    "--excitation",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="The WAV file that was played; by default the one whose sidecar is found.",
)
@click.option(
    "--thd-of",
    type=click.Choice(["fundamental", "total"]),
    help="What distortion relates to; the fundamental by default.",
)
@click.option(
    "--prominence",
    type=NUMBER,
    metavar="DB",
    help="Least height of a break-up peak; 3 dB by default.",
)
@click.option("--channel", type=Whole(min=1), metavar="N", help="Channel of a WAV file.")
@click.option(
    "--loopback",
    type=Whole(min=1),
    metavar="N",
    help="Channel that carries the stimulus.",
)
@click.option(
    "--rate", type=NUMBER, metavar="HZ", help="Sampling rate of a text file without one."
)
@click.option(
    "--calibrator",
    metavar="FILE[:DB]",
    help="Recording of a sound calibrator, 94 dB if not said; levels become dB SPL.",
)
@click.option(
    "--sensitivity",
    metavar="DBFS",
    help="What 94 dB SPL reads, or MV_PER_PA:VOLTS with the full-scale peak voltage.",
)
@click.option("--drive", type=NUMBER, metavar="V", help="Voltage used; levels are for 2.83 V.")
@click.option("--distance", type=NUMBER, metavar="M", help="Distance used; levels are for 1 m.")
@picture_files
@as_json
def listen_command(
    files: tuple[Path, ...],
    kind: str | None,
    band: str | None,
    smooth: float | None,
    drop: float | None,
    sweep: str | None,
    excitation: Path | None,
    thd_of: str | None,
    prominence: float | None,
    channel: int | None,
    loopback: int | None,
    rate: float | None,
    calibrator: str | None,
    sensitivity: str | None,
    drive: float | None,
    distance: float | None,
    png: Path | None,
    svg: Path | None,
    json_wanted: bool,
) -> None:
    """Show the metrics of raw files; needs no experiment.

    Every metric is defined in the README and in the report. A metric that the data cannot
    carry has no value and a warning that says why.
    """
    given: dict[str, Any] = {
        "band": _band(band),
        "smooth": smooth,
        "drop_db": drop,
        "sweep": _sweep(sweep, excitation),
        "thd_of": thd_of,
        "prominence_db": prominence,
        "channel": channel,
        "loopback": loopback,
        "rate": rate,
        "sensitivity_dbfs": sensitivity_of(calibrator, sensitivity, channel),
        "drive_volts": drive,
        "distance_m": distance,
    }
    options = Options().with_values({k: v for k, v in given.items() if v is not None})
    heard = _listen_all(files, kind, options)
    save_picture(
        lambda: draw_heard(heard, options), png, svg, ", ".join(path.name for path in files)
    )
    if json_wanted:
        print_json({"files": [each.to_dict() for each in heard]})
        return
    for each in heard:
        _print(each)


def _listen_all(files: tuple[Path, ...], kind: str | None, options: Options) -> list[Listening]:
    """Read every file; complain about all that cannot be read at once."""
    heard: list[Listening] = []
    problems: list[Any] = []
    for path in files:
        try:
            heard.append(listen(path, kind=kind, options=options))
        except CurveError as error:
            problems += error.problems
    if problems:
        raise CurveError(*problems)
    return heard


def _print(each: Listening) -> None:
    """Print one file's metrics, warnings and notes."""
    rows = [
        [
            MEASURES[name].label,
            name,
            value_text(item),
        ]
        for name, item in each.metrics.items()
    ]
    print_table(f"{each.file} ({each.kind})", ["metric", "name", "value"], rows)
    warnings = [f"{warning.code}: {warning.text}" for warning in each.warnings]
    print_notes(warnings, title="Warnings")
    print_notes(each.notes, title="How it was read")
    click.echo()
