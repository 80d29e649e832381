"""The microphone's sensitivity, as the command line takes it."""

from __future__ import annotations

from pathlib import Path

import click

from experiments.acoustics.calibration import (
    USUAL_DB,
    sensitivity_from_recording,
    sensitivity_from_volts,
)
from experiments.errors import CurveError, Problem
from optimiser.command.options import parse_number

__all__ = ["sensitivity_of"]


def sensitivity_of(
    calibrator: str | None, sensitivity: str | None, channel: int | None
) -> float | None:
    """Find out what 94 dB SPL reads, in dB re a full-scale sine.

    Parameters
    ----------
    calibrator : str or None
        ``FILE`` or ``FILE:DB``, the recording of a sound calibrator and its level.
    sensitivity : str or None
        ``DBFS``, or ``MV_PER_PA:VOLTS``.
    channel : int or None
        Of the calibrator's recording.

    Returns
    -------
    float or None
        None if neither is given. What the calibrator's recording gave is said on stderr.

    Raises
    ------
    click.BadParameter
        If both are given, or one cannot be read.
    CurveError
        If the recording holds no calibrator's tone.
    """
    if calibrator is not None and sensitivity is not None:
        raise click.BadParameter(
            "--sensitivity: found --calibrator beside it, expected one of the two"
        )
    if calibrator is not None:
        return _of_recording(calibrator, channel)
    if sensitivity is None:
        return None
    first, sign, volts = sensitivity.partition(":")
    value = parse_number(first, "--sensitivity")
    return sensitivity_from_volts(value, parse_number(volts, "--sensitivity")) if sign else value


def _of_recording(text: str, channel: int | None) -> float:
    """Read ``FILE`` or ``FILE:DB``; a colon that no number follows belongs to the name."""
    name, spl = text, USUAL_DB
    head, sign, tail = text.rpartition(":")
    if sign and not Path(text).exists():
        name, spl = head, parse_number(tail, "--calibrator")
    try:
        content = Path(name).read_bytes()
    except OSError as error:
        found = error.strerror or str(error)
        raise CurveError(Problem(name, found, "a calibrator's recording as WAV")) from None
    value, told = sensitivity_from_recording(content, name, spl_db=spl, channel=channel)
    click.echo(told, err=True)
    return value
