"""A test tone as files: designed from what a person says, the WAV and its sidecar sealed."""

from __future__ import annotations

from dataclasses import replace

from experiments.acoustics.excitation import ENDING, Excitation, sidecar_text, to_wav
from experiments.acoustics.options import Sweep
from experiments.outputs import MARK, seal

__all__ = ["design_sweep", "sweep_files", "sweep_words"]

_LOUDEST = 20.0
"""dB re full scale; what is over 0 is refused later, but must not overflow before."""


def design_sweep(
    *,
    start_hz: float = 20.0,
    stop_hz: float = 20000.0,
    seconds: float = 10.0,
    rate: int = 48000,
    level_dbfs: float = -12.0,
    fades: tuple[float, float] | None = None,
    silence: tuple[float, float] = (0.5, 1.0),
    synchronised: bool = False,
    loopback: bool = False,
) -> Excitation:
    """Design a swept sine.

    Parameters
    ----------
    start_hz, stop_hz : float
        First and last frequency.
    seconds : float
        Duration; a synchronised sweep rounds it, so that harmonics keep their phase too.
    rate : int
        Sampling rate, Hz.
    level_dbfs : float
        Peak, dB re full scale.
    fades : (float, float), optional
        In and out, s; by default one period of the first frequency, and 0.01 s.
    silence : (float, float)
        Before and after, s.
    synchronised, loopback : bool
        As said above; the same samples on a second channel, to be wired back to the recorder.

    Returns
    -------
    Excitation

    Raises
    ------
    CurveError
        As `Sweep` and `Excitation` do.
    """
    law = "synchronised" if synchronised else "exponential"
    amplitude = 10 ** (min(level_dbfs, _LOUDEST) / 20)
    plain = Sweep(start_hz, stop_hz, seconds, law, amplitude=amplitude)  # type: ignore[arg-type]
    if fades is None:
        fades = (min(1 / start_hz, seconds / 20), min(0.01, seconds / 20))
    sweep = replace(plain, fade_in=fades[0], fade_out=fades[1])
    return Excitation(sweep, rate, *silence, 2 if loopback else 1)


def sweep_files(excitation: Excitation, name: str) -> dict[str, bytes]:
    """Make the WAV file and the sidecar by which `listen` knows it.

    Parameters
    ----------
    excitation : Excitation
    name : str
        Of the WAV file, with its ending.

    Returns
    -------
    dict of str to bytes
        By name, the WAV file first.
    """
    wav = seal(to_wav(excitation, MARK))
    text = f"{sidecar_text(excitation, name, wav)}# {MARK}\n"
    return {name: wav, f"{name.rpartition('.')[0]}{ENDING}": seal(text.encode())}


def sweep_words(excitation: Excitation) -> str:
    """Say in one line what is played."""
    sweep = excitation.sweep
    return (
        f"{sweep.law} sweep from {sweep.start_hz:g} to {sweep.stop_hz:g} Hz in "
        f"{excitation.seconds:.6g} s at {excitation.rate} Hz, silence {excitation.before:g} s "
        f"before and {excitation.after:g} s after"
    )
