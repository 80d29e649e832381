"""From the bytes of a measurement file to a curve, and to what was assumed on the way."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import PurePath
from typing import TYPE_CHECKING, Final

import numpy as np

from experiments.acoustics.columns import distortion_of, impulse_of, response_of
from experiments.acoustics.curves import Distortion, Impulse, Response
from experiments.acoustics.form import Form
from experiments.acoustics.headings import role_of, sampling_rate
from experiments.acoustics.quality import Warning, sample_warnings
from experiments.acoustics.stated import name_columns
from experiments.acoustics.table import Table, read_table
from experiments.acoustics.timebase import counts
from experiments.acoustics.wav import Recording, is_wav, pick_channel, read_wav
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    import numpy.typing as npt

    from experiments.acoustics.options import Options

__all__ = ["NoExcitation", "Reading", "guess_kind", "read"]

_SAY: Final = "Say what it is: --kind response, distortion, impulse or sweep."
_SAY_RATE: Final = (
    "For samples of an impulse response say their rate: --rate 48000, or a line '# sampling rate: "
    "48000 Hz' at the top. Else say what it is: --kind response or distortion."
)
_LONGEST: Final = 0.3  # s within which an impulse response has 90 % of its energy
_FOREIGN: Final = (
    (b"PK\x03\x04", "a zip archive or spreadsheet", "Save the table as CSV."),
    (b"%PDF", "a PDF", "Export the numbers as text."),
    (b"\x89PNG", "a picture", "Export the numbers as text."),
    (b"\xff\xd8\xff", "a picture", "Export the numbers as text."),
    (b"fLaC", "a FLAC file", "Save it as WAV."),
    (b"OggS", "an Ogg file", "Save it as WAV without compression."),
    (b"ID3", "an MP3 file", "Save it as WAV without compression."),
    (b"FORM", "an AIFF file", "Save it as WAV."),
    (b"\x1f\x8b", "a gzip archive", "Unpack it first."),
    (b"SQLite format 3", "a database", "Export the numbers as text."),
)


class NoExcitation(CurveError):
    """A recording that may be a sweep, of which nobody said what was played."""


@dataclass
class Reading:
    """What a file held.

    Parameters
    ----------
    kind : str
        response, distortion, impulse or sweep.
    curve : Response, Distortion or Impulse
        The curve; for a sweep the raw recording.
    warnings : list of Warning
        What the raw data themselves gave cause for.
    notes : list of str
        What was assumed and dropped.
    loopback : ndarray or None
        The stimulus as recorded beside a sweep.
    """

    kind: str
    curve: Response | Distortion | Impulse
    warnings: list[Warning] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    loopback: npt.NDArray[np.float64] | None = None


def read(raw: bytes, name: str, kind: str | None, options: Options) -> Reading:
    """Read a measurement file.

    Parameters
    ----------
    raw : bytes
        The file.
    name : str
        Its name, for messages and as a hint.
    kind : str or None
        What it holds; None to find out.
    options : Options
        `channel`, `loopback`, `rate` and `sweep` are used.

    Returns
    -------
    Reading
        The curve, warnings about the raw data and notes.

    Raises
    ------
    CurveError
        If it cannot be read, or may be understood in more than one way.
    """
    if not raw.strip(b" \t\r\n\x00"):
        raise CurveError(
            Problem(name, "an empty file", "a measurement", "Export or record it again.")
        )
    for mark, what, remedy in _FOREIGN:
        if raw.startswith(mark):
            raise CurveError(Problem(name, what, "text or WAV", remedy))
    if is_wav(raw):
        return _from_wav(read_wav(raw, name), name, kind, options)
    if PurePath(name).suffix.lower() in (".wav", ".wave"):
        raise CurveError(
            Problem(name, "no RIFF mark at the start", "a WAV file", "Export it again as WAV.")
        )
    form = Form.of(options)
    table = read_table(raw, name, form)
    name_columns(table, form)
    return _from_text(table, name, kind, options)


def _from_text(table: Table, name: str, kind: str | None, options: Options) -> Reading:
    if kind is None:
        kind, why = _by_rate(table, options.rate) or guess_kind(table)
        table.notes.append(f"taken as {kind}: {why}")
    warnings: list[Warning] = []
    if kind == "response":
        curve: Response | Distortion | Impulse = response_of(table, warnings)
    elif kind == "distortion":
        curve = distortion_of(table, warnings)
    else:
        curve = impulse_of(table, options.rate)
        warnings += sample_warnings(curve.samples, curve.rate, None)
    if kind == "sweep" and options.sweep is None:
        raise _no_sweep(name)
    return Reading(kind, curve, warnings, table.notes)


def _by_rate(table: Table, rate: float | None) -> tuple[str, str] | None:
    """Take bare samples, numbered or not, as an impulse response if a sampling rate is known."""
    named = {role_of(heading).name for heading in table.headings} - {
        "",
        "other",
        "amplitude",
        "index",
    }
    if named or (rate or sampling_rate(table.remarks)) is None or table.values.shape[1] > 2:
        return None
    if table.values.shape[1] == 1:
        return "impulse", "samples of which the sampling rate is known"
    if counts(table.values[:, 0]) and np.nanmin(table.values[:, 0]) <= 1:
        return "impulse", "numbered samples of which the sampling rate is known"
    return None


def _from_wav(recording: Recording, name: str, kind: str | None, options: Options) -> Reading:
    if kind in ("response", "distortion"):
        raise CurveError(
            Problem(
                name, "a WAV file", f"a text file for a {kind}", "Use --kind impulse or sweep."
            )
        )
    if kind is None and (options.sweep is not None or options.loopback is not None):
        kind = "sweep"
    if kind == "sweep" and options.sweep is None:
        raise _no_sweep(name)
    loopback = None
    channel = options.channel
    if kind == "sweep" and options.loopback is not None:
        loopback, _ = pick_channel(recording, options.loopback, name)
        others = [i for i in range(1, recording.samples.shape[1] + 1) if i != options.loopback]
        if channel is None and len(others) == 1:
            channel = others[0]
    samples, note = pick_channel(recording, channel, name)
    notes = [f"{recording.format}, {recording.rate:g} Hz, {samples.size} samples"]
    notes += [note] if note else []
    if options.rate is not None and options.rate != recording.rate:
        notes.append(f"the rate stated, {options.rate:g} Hz, is not used: the file has its own")
    if kind is None:
        kind = "impulse"
        notes.append(f"taken as impulse: {_like_impulse(samples, recording.rate, name)}")
    curve = Impulse(samples, recording.rate, 0.0, recording.step)
    found = sample_warnings(samples, recording.rate, recording.step)
    return Reading(kind, curve, found, notes, loopback)


def _no_sweep(name: str) -> NoExcitation:
    return NoExcitation(
        Problem(
            name,
            "a sweep recording without its excitation",
            "the sweep that was played",
            "Say --sweep F1:F2:SECONDS, such as --sweep 20:20000:10, or --excitation FILE.",
        )
    )


def _like_impulse(samples: npt.NDArray[np.float64], rate: float, name: str) -> str:
    """Say why samples look like an impulse response; refuse if they do not."""
    power = samples**2
    total = float(np.sum(power))
    if total == 0.0:
        raise CurveError(Problem(name, "zeros only", "a signal", "Measure again."))
    crest = 10 * np.log10(float(np.max(power)) * samples.size / total)
    running = np.cumsum(power) / total
    width = int(np.searchsorted(running, 0.95)) - int(np.searchsorted(running, 0.05))
    share = max(width, 1) / samples.size
    if width / rate <= _LONGEST and (crest >= 20 or share <= 0.35):
        return f"90 % of the energy lies within {1000 * width / rate:.3g} ms"
    raise NoExcitation(
        Problem(
            name,
            f"a signal that goes on for {width / rate:.2g} s",
            "an impulse response, or a sweep with its settings",
            "For a sweep recording say --sweep F1:F2:SECONDS or --excitation FILE; else say "
            "--kind impulse.",
        )
    )


def guess_kind(table: Table) -> tuple[str, str]:
    """Find out what a table holds from its headings, units and numbers.

    Parameters
    ----------
    table : Table
        The file.

    Returns
    -------
    str
        The kind.
    str
        Why.

    Raises
    ------
    CurveError
        If more than one kind is possible.
    """
    roles = [role_of(heading) for heading in table.headings]
    names = {role.name for role in roles}
    if names & {"thd", "harmonic", "percent"} and "time" not in names:
        return "distortion", f"{_what(table)} name distortion or percent"
    linear = any(role.name == "amplitude" and role.unit for role in roles)
    if "frequency" in names and (names & {"level", "real"} or linear):
        return "response", f"{_what(table)} name frequency and level"
    if names & {"time", "index"} and names & {"amplitude", "level"}:
        return "impulse", f"{_what(table)} name time and amplitude"
    if names == {"amplitude"} and len(roles) == 1:
        return "impulse", "its heading names an amplitude"
    return _guess_by_numbers(table, names)


def _what(table: Table) -> str:
    return "the columns stated" if table.stated else "its headings"


def _guess_by_numbers(table: Table, names: set[str]) -> tuple[str, str]:
    """Guess without helpful headings, only where the numbers leave no other choice."""
    hint = _hint(table.name)
    if hint is not None:
        return hint, "the file's name says so"
    values = table.values
    if values.shape[1] == 1:
        raise _ambiguous(table, "one column of bare numbers", _SAY_RATE)
    if counts(values[:, 0]) and np.nanmin(values[:, 0]) <= 1:
        raise _ambiguous(table, "rows that are numbered, without headings", _SAY_RATE)
    first, second = values[:, 0], values[:, 1]
    ok = ~np.isnan(first) & ~np.isnan(second)
    first, second = first[ok], second[ok]
    if first.size < 3:
        raise _ambiguous(table, f"{first.size} rows")
    steps = np.diff(first)
    even = bool(np.all(steps > 0)) and float(np.ptp(steps)) < 0.2 * float(np.mean(steps))
    if even and float(np.max(np.abs(first))) < 100 and np.min(second) < 0 < np.max(second):
        return "impulse", "even steps from near zero and values of both signs"
    wide = float(np.min(first)) > 0 and float(np.max(first)) >= 1000
    if wide and values.shape[1] == 2 and "phase" not in names and np.min(second) >= 0:
        if np.median(second) >= 40 and np.min(second) > 15:
            return "response", "frequencies and values as sound pressure levels have them"
        raise _ambiguous(table, "two columns that may be dB or percent")
    if wide and np.min(second) < 0 < np.max(second):
        return "response", "frequencies and values of both signs, which percentages never have"
    if wide and values.shape[1] == 3 and np.median(second) >= 40 and _like_phase(values[:, 2]):
        return "response", "columns as of frequency, level and phase"
    raise _ambiguous(table, "columns without headings that say what they hold")


def _hint(name: str) -> str | None:
    path = PurePath(name)
    if path.suffix.lower() == ".frd":
        return "response"
    words = path.stem.lower()
    found = [
        kind
        for kind, parts in (
            ("response", ("response", "spl", "frequency")),
            ("distortion", ("distortion", "thd", "harmonic")),
            ("impulse", ("impulse",)),
        )
        if any(part in words for part in parts)
    ]
    return found[0] if len(found) == 1 else None


def _like_phase(values: npt.NDArray[np.float64]) -> bool:
    known = values[~np.isnan(values)]
    return bool(np.any(known < 0) and np.max(np.abs(known)) <= 360.0)


def _ambiguous(table: Table, found: str, remedy: str = _SAY) -> CurveError:
    expected = "headings or units that say what the columns hold"
    return CurveError(Problem(table.where(0), found, expected, remedy))
