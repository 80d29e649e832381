"""Verb: sweep."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.acoustics.excitation import sidecar_of
from experiments.outputs import Kind, check_output, is_sealed, write_whole
from experiments.sweeps import design_sweep, sweep_files, sweep_words
from optimiser.cautions import MEASURING
from optimiser.command.options import NUMBER, Whole, as_json, force_option, parse_number
from optimiser.command.show import print_json

__all__ = ["sweep_command"]

_WAV = Kind("an excitation", (".wav",), is_sealed)
_SIDECAR = Kind("an excitation's sidecar", (".toml",), is_sealed)


@click.command("sweep", epilog=f"Take care. {' '.join(MEASURING.lines)}")
@click.argument("file", type=click.Path(path_type=Path), metavar="FILE.wav")
@click.option(
    "--from", "start_hz", type=NUMBER, default=20.0, metavar="HZ",
    help="First frequency; 20 Hz by default.",
)  # fmt: skip
@click.option(
    "--to", "stop_hz", type=NUMBER, default=20000.0, metavar="HZ",
    help="Last frequency; 20000 Hz by default.",
)  # fmt: skip
@click.option(
    "--seconds", type=NUMBER, default=10.0, metavar="T", help="Duration; 10 s by default."
)
@click.option(
    "--rate", type=Whole(min=1), default=48000, metavar="HZ",
    help="Sampling rate; 48000 Hz by default.",
)  # fmt: skip
@click.option(
    "--level", type=NUMBER, default=-12.0, metavar="DBFS",
    help="Peak, dB re full scale; -12 by default.",
)  # fmt: skip
@click.option(
    "--fade", metavar="IN:OUT",
    help="Fades in s; by default one period of the first frequency, and 0.01.",
)  # fmt: skip
@click.option(
    "--silence", default="0.5:1", metavar="BEFORE:AFTER",
    help="Silence around it in s; 0.5:1 by default.",
)  # fmt: skip
@click.option(
    "--synchronised", is_flag=True,
    help="Round the duration so that harmonics keep their phase too.",
)  # fmt: skip
@click.option(
    "--loopback", is_flag=True,
    help="Write it on a second channel too, to be wired back to the recorder.",
)  # fmt: skip
@force_option
@as_json
def sweep_command(
    file: Path,
    start_hz: float,
    stop_hz: float,
    seconds: float,
    rate: int,
    level: float,
    fade: str | None,
    silence: str,
    synchronised: bool,
    loopback: bool,
    force: bool,
    json_wanted: bool,
) -> None:
    """Write a swept sine to play through a driver, as WAV.

    Beside FILE.wav stands FILE.sweep.toml, which says which sweep it is: keep a copy of it with
    the recordings, and `coneloop listen` finds it.
    """
    excitation = design_sweep(
        start_hz=start_hz,
        stop_hz=stop_hz,
        seconds=seconds,
        rate=rate,
        level_dbfs=level,
        fades=None if fade is None else _pair(fade, "--fade"),
        silence=_pair(silence, "--silence"),
        synchronised=synchronised,
        loopback=loopback,
    )
    sidecar = sidecar_of(file)
    check_output(file, _WAV, force=force)
    check_output(sidecar, _SIDECAR, force=force)
    for path, content in zip((file, sidecar), sweep_files(excitation, file.name).values(),
                             strict=True):  # fmt: skip
        write_whole(path, content)
    if json_wanted:
        print_json({"file": str(file), "sidecar": str(sidecar), "seconds": excitation.seconds,
                    "cautions": list(MEASURING.lines)})  # fmt: skip
        return
    click.echo(f"wrote {file} and {sidecar}: {sweep_words(excitation)}")
    for line in MEASURING.lines:
        click.echo(f"  Take care: {line}")


def _pair(text: str, option: str) -> tuple[float, float]:
    """Read two numbers with a colon between them."""
    first, sign, second = text.partition(":")
    if not sign:
        raise click.BadParameter(f"{option}: found {text!r}, expected two numbers such as 0.5:1")
    return parse_number(first, option), parse_number(second, option)
