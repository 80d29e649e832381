"""Excitations as files: the sweep as WAV, and a sidecar that says which sweep it is.

The sidecar of ``sweep.wav`` is ``sweep.sweep.toml``. It is what `listen` looks for, so a copy of
it beside the recordings is all that they need.
"""

from __future__ import annotations

import hashlib
import io
import json
import math
import tomllib
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile

from experiments.acoustics.identify import identify
from experiments.acoustics.options import Sweep
from experiments.acoustics.stimulus import generate, time_constant
from experiments.acoustics.wav import MAX_SAMPLES, read_wav
from experiments.errors import CurveError, Problem

__all__ = [
    "ENDING",
    "Excitation",
    "Found",
    "agreeing_beside",
    "excitation_beside",
    "read_excitation",
    "read_sidecar",
    "sidecar_of",
    "sidecar_text",
    "to_wav",
]

ENDING: Final = ".sweep.toml"
"""How the name of a sidecar ends."""

_AGREES: Final = 1e-3  # share by which a sweep stated may differ from its sidecar
_LARGEST: Final = 100_000  # bytes of a sidecar
_SWEEP: Final = tuple(one.name for one in fields(Sweep))
_REST: Final = ("file", "sha256", "rate", "silence_before", "silence_after", "channels")


@dataclass(frozen=True)
class Excitation:
    """A sweep on its way into a file.

    Parameters
    ----------
    sweep : Sweep
        With its law.
    rate : int
        Sampling rate, Hz.
    before, after : float
        Silence around the sweep, s.
    channels : int
        2 to write the same samples on a second channel, for a loopback.

    Raises
    ------
    CurveError
        If the sweep would be clipped, is too long to be read back, or reaches half the rate.
    """

    sweep: Sweep
    rate: int
    before: float = 0.5
    after: float = 1.0
    channels: int = 1

    def __post_init__(self) -> None:
        if self.sweep.law is None:
            raise _bad("sweep.law", "none", "'exponential' or 'synchronised'")
        if not 1000 <= self.rate <= 768_000:
            raise _bad("rate", f"{self.rate:g} Hz", "a sampling rate from 1000 to 768000 Hz")
        if self.sweep.stop_hz >= self.rate / 2:
            raise _bad("to", f"{self.sweep.stop_hz:g} Hz", f"less than half of {self.rate:g} Hz")
        if self.sweep.amplitude > 1:
            raise _bad("level", "a peak over full scale", "0 dBFS or less")
        if self.sweep.start_hz * time_constant(self.sweep) < 1:
            raise _bad("seconds", f"{self.sweep.seconds:g} s", "a sweep over more low periods")
        for name in ("before", "after"):
            if not 0 <= getattr(self, name) <= 60:
                raise _bad("silence", f"{getattr(self, name):g} s", "0 to 60 s")
        if (self.seconds + self.before + self.after) * self.rate * self.channels > MAX_SAMPLES:
            raise _bad("seconds", f"{self.seconds:g} s", f"at most {MAX_SAMPLES} samples in all")

    @property
    def seconds(self) -> float:
        """Duration of the sweep itself; a synchronised one rounds what was asked for."""
        return time_constant(self.sweep) * math.log(self.sweep.stop_hz / self.sweep.start_hz)


@dataclass(frozen=True)
class Found:
    """An excitation that was found for a recording.

    Parameters
    ----------
    sweep : Sweep
        What was played.
    note : str
        Where it comes from.
    """

    sweep: Sweep
    note: str


def _bad(where: str, found: str, expected: str, remedy: str = "") -> CurveError:
    return CurveError(Problem(where, found, expected, remedy))


def to_wav(excitation: Excitation, comment: str = "") -> bytes:
    """Make the WAV file: 24-bit PCM, silence, the sweep with its fades, silence.

    Parameters
    ----------
    excitation : Excitation
        What shall be played.
    comment : str
        Stands in the file's header.

    Returns
    -------
    bytes
        The file.
    """
    rate = excitation.rate
    silence = [np.zeros(round(s * rate)) for s in (excitation.before, excitation.after)]
    samples = np.concatenate((silence[0], generate(excitation.sweep, rate), silence[1]))
    columns = np.repeat(samples[:, np.newaxis], excitation.channels, axis=1)
    out = io.BytesIO()
    with soundfile.SoundFile(
        out, "w", rate, excitation.channels, subtype="PCM_24", format="WAV"
    ) as file:
        if comment:
            file.comment = comment
        file.write(columns)
    return out.getvalue()


def sidecar_of(path: Path) -> Path:
    """Return where the sidecar of a WAV file stands: ``sweep.sweep.toml`` for ``sweep.wav``."""
    return path.with_name(path.stem + ENDING)


def sidecar_text(excitation: Excitation, name: str, wav: bytes) -> str:
    """Write the sidecar.

    Parameters
    ----------
    excitation : Excitation
        What the file holds.
    name : str
        Name of the WAV file.
    wav : bytes
        Its content, of which the checksum is kept.

    Returns
    -------
    str
        TOML.
    """
    values: dict[str, Any] = {
        "file": name,
        "sha256": hashlib.sha256(wav).hexdigest(),
        **{key: getattr(excitation.sweep, key) for key in _SWEEP},
        "rate": excitation.rate,
        "silence_before": excitation.before,
        "silence_after": excitation.after,
        "channels": excitation.channels,
    }
    lines = [f"{key} = {json.dumps(value, ensure_ascii=False)}" for key, value in values.items()]
    head = "# `coneloop listen` reads this file: keep it beside the recordings."
    return "\n".join([head, "", "[sweep]", *lines]) + "\n"


def read_excitation(path: Path) -> Found:
    """Find out which sweep an excitation file holds.

    Parameters
    ----------
    path : Path
        The WAV file that was played, or its sidecar. Without a sidecar beside it the sweep is
        found from the samples.

    Returns
    -------
    Found
        The sweep.

    Raises
    ------
    CurveError
        If the sidecar cannot be read, the WAV file is another than its sidecar's, or it has no
        sidecar and holds no exponential sweep.
    """
    if path.name.endswith(ENDING):
        return Found(_sweep_in(path)[0], f"excitation as {path.name} says")
    raw = _bytes(path)
    sidecar = sidecar_of(path)
    if not sidecar.is_file():
        return _from_samples(raw, path)
    sweep, checksum = _sweep_in(sidecar)
    if checksum != hashlib.sha256(raw).hexdigest():
        raise _bad(
            str(path),
            f"another file than {sidecar.name} was written for",
            "the excitation as `coneloop sweep` wrote it",
            "Write it again, or remove the sidecar: the sweep is then found from the samples.",
        )
    return Found(sweep, f"excitation {path.name}, as {sidecar.name} says")


def _from_samples(raw: bytes, path: Path) -> Found:
    recording = read_wav(raw, str(path))
    if not np.all(recording.samples == recording.samples[:, :1]):
        raise _bad(
            str(path),
            f"{recording.samples.shape[1]} channels that differ",
            "an excitation: the same on every channel",
            "Export the channel that was played, or say --sweep F1:F2:SECONDS.",
        )
    sweep = identify(recording.samples[:, 0], recording.rate, str(path))
    return Found(
        sweep,
        f"excitation {path.name}: no sidecar; its samples sweep from {sweep.start_hz:.5g} to "
        f"{sweep.stop_hz:.5g} Hz in {sweep.seconds:.5g} s",
    )


def excitation_beside(recording: Path) -> Found | None:
    """Look for a sidecar beside a recording.

    Parameters
    ----------
    recording : Path
        The recording. A sidecar of its own name counts first, else the only one in its folder.

    Returns
    -------
    Found or None
        The sweep; None where no sidecar stands there.

    Raises
    ------
    CurveError
        If several stand there and none bears the recording's name, or it cannot be read.
    """
    own = sidecar_of(recording)
    there = [own] if own.is_file() else sorted(recording.parent.glob(f"*{ENDING}"))
    if not there:
        return None
    if len(there) > 1:
        names = ", ".join(path.name for path in there[:5])
        raise _bad(
            str(recording),
            f"{len(there)} excitations beside it ({names})",
            "one excitation",
            "Say which was played: --excitation FILE.",
        )
    return Found(_sweep_in(there[0])[0], f"excitation as {there[0].name} beside it says")


def agreeing_beside(recording: Path, sweep: Sweep) -> Found | None:
    """Look for sidecars beside a recording that agree with a sweep that was stated.

    ``--sweep F1:F2:SECONDS`` says nothing of the level, the fades and the law; they do.

    Parameters
    ----------
    recording : Path
        The recording.
    sweep : Sweep
        As stated.

    Returns
    -------
    Found or None
        The sidecar's sweep. None where more was stated than frequencies and duration, none
        agrees within 0.1 %, or several agree that differ among themselves.
    """
    if sweep != Sweep(sweep.start_hz, sweep.stop_hz, sweep.seconds):
        return None
    own = sidecar_of(recording)
    agreeing = {}
    for path in [own] if own.is_file() else sorted(recording.parent.glob(f"*{ENDING}"))[:100]:
        try:
            found = _sweep_in(path)[0]
        except CurveError:
            continue
        if all(
            math.isclose(getattr(found, name), getattr(sweep, name), rel_tol=_AGREES)
            for name in ("start_hz", "stop_hz", "seconds")
        ):
            agreeing[found] = path
    if len(agreeing) != 1:
        return None
    ((found, path),) = agreeing.items()
    note = (
        f"the sweep stated is that of {path.name} beside it: its level, fades and law were taken"
    )
    return Found(found, note)


def _bytes(path: Path, largest: float = math.inf) -> bytes:
    try:
        if path.stat().st_size > largest:
            raise _bad(str(path), "a file too large for a sidecar", "a small TOML file")
        return path.read_bytes()
    except OSError as error:
        found = {FileNotFoundError: "no such file", IsADirectoryError: "a folder"}.get(
            type(error), error.strerror or str(error)
        )
        raise _bad(str(path), found, "an excitation that `coneloop sweep` wrote") from None


def read_sidecar(name: str, content: bytes) -> Found:
    """Read a sidecar that was sent rather than found beside a recording.

    Parameters
    ----------
    name : str
        What it is called; used in notes and errors.
    content : bytes
        The file.

    Returns
    -------
    Found

    Raises
    ------
    CurveError
        If it is no sidecar.
    """
    if len(content) > _LARGEST:
        raise _bad(name, "a file too large for a sidecar", "a small TOML file")
    return Found(_sweep_of(name, content)[0], f"excitation as {name} says")


def _sweep_in(path: Path) -> tuple[Sweep, str]:
    """Read a sidecar: the sweep, and the checksum of its WAV file."""
    return _sweep_of(str(path), _bytes(path, _LARGEST))


def _sweep_of(path: str, content: bytes) -> tuple[Sweep, str]:
    remedy = "Write the excitation again with `coneloop sweep`, or say --sweep F1:F2:SECONDS."
    try:
        table = tomllib.loads(content.decode("utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise _bad(path, f"no TOML ({error})", "a sidecar", remedy) from None
    values = table.get("sweep")
    if not isinstance(values, dict):
        raise _bad(path, "no table [sweep]", "a sidecar", remedy)
    odd = [key for key in values if key not in (*_SWEEP, *_REST)]
    missing = [key for key in (*_SWEEP, "sha256") if key not in values]
    if odd or missing:
        found = f"an unknown key {odd[0]}" if odd else f"no key {missing[0]}"
        raise _bad(f"{path}: sweep", found, "the keys of a sidecar", remedy)
    try:
        sweep = Sweep(**{key: values[key] for key in _SWEEP})
    except CurveError as error:
        raise CurveError(
            *(Problem(f"{path}: {p.where}", p.found, p.expected, remedy)
              for p in error.problems if isinstance(p, Problem))
        ) from None  # fmt: skip
    return sweep, str(values["sha256"])
