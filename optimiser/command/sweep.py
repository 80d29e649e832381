"""Verb: sweep."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import click

from experiments.acoustics.excitation import (
    Excitation,
    sidecar_of,
    sidecar_text,
    to_wav,
)
from experiments.acoustics.options import Sweep
from experiments.outputs import MARK, Kind, check_output, is_sealed, seal, write_whole
from optimiser.cautions import MEASURING
from optimiser.command.options import NUMBER, as_json, force_option, parse_number
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
    "--rate", type=click.IntRange(min=1), default=48000, metavar="HZ",
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
    sweep = Sweep(
        start_hz, stop_hz, seconds, "synchronised" if synchronised else "exponential",
        amplitude=10 ** (min(level, 20.0) / 20),
    )  # fmt: skip
    shortest = (min(1 / start_hz, seconds / 20), min(0.01, seconds / 20))
    fade_in, fade_out = shortest if fade is None else _pair(fade, "--fade")
    sweep = replace(sweep, fade_in=fade_in, fade_out=fade_out)
    before, after = _pair(silence, "--silence")
    excitation = Excitation(sweep, rate, before, after, 2 if loopback else 1)
    sidecar = sidecar_of(file)
    check_output(file, _WAV, force=force)
    check_output(sidecar, _SIDECAR, force=force)
    wav = seal(to_wav(excitation, MARK))
    text = f"{sidecar_text(excitation, file.name, wav)}# {MARK}\n"
    write_whole(file, wav)
    write_whole(sidecar, seal(text.encode()))
    if json_wanted:
        print_json({"file": str(file), "sidecar": str(sidecar), "seconds": excitation.seconds,
                    "cautions": list(MEASURING.lines)})  # fmt: skip
        return
    click.echo(f"wrote {file} and {sidecar}: {_words(excitation)}")
    for line in MEASURING.lines:
        click.echo(f"  Take care: {line}")


def _pair(text: str, option: str) -> tuple[float, float]:
    """Read two numbers with a colon between them."""
    first, sign, second = text.partition(":")
    if not sign:
        raise click.BadParameter(f"{option}: found {text!r}, expected two numbers such as 0.5:1")
    return parse_number(first, option), parse_number(second, option)


def _words(excitation: Excitation) -> str:
    """Say in one line what was written."""
    sweep = excitation.sweep
    return (
        f"{sweep.law} sweep from {sweep.start_hz:g} to {sweep.stop_hz:g} Hz in "
        f"{excitation.seconds:.6g} s at {excitation.rate} Hz, silence {excitation.before:g} s "
        f"before and {excitation.after:g} s after"
    )
