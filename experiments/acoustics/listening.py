"""`listen`: a measurement file in, metrics, warnings and notes out."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from experiments.acoustics import hearing
from experiments.acoustics.catalogue import KINDS, MEASURES
from experiments.acoustics.excitation import agreeing_beside, excitation_beside
from experiments.acoustics.options import Options
from experiments.acoustics.reading import NoExcitation, Reading, read
from experiments.acoustics.table import MAX_BYTES
from experiments.errors import CurveError, Problem

if TYPE_CHECKING:
    from collections.abc import Mapping

    from experiments.acoustics.curves import Distortion, Impulse, Response
    from experiments.acoustics.quality import Warning

__all__ = ["Listening", "Value", "listen", "measure"]

_MAX_FILE: Final = 1_000_000_000


@dataclass(frozen=True)
class Value:
    """A metric's value.

    Parameters
    ----------
    value : float or None
        None where the data do not carry it; a warning says why.
    unit : str
        Its unit; empty for a plain number.
    known_to : float, optional
        Share of the value to which the data tell it at best; None where they tell it as finely
        as it is computed.
    """

    value: float | None
    unit: str
    known_to: float | None = None

    @property
    def rounded(self) -> float | None:
        """The value with the digits that the data carry."""
        if not self.value or not self.known_to:
            return self.value
        return round(self.value, -math.floor(math.log10(abs(self.value) * self.known_to)))


@dataclass(frozen=True)
class Listening:
    """What was heard in one file.

    Parameters
    ----------
    file : str
        Its name.
    kind : str
        response, distortion, impulse or sweep.
    curve : Response, Distortion or Impulse
        The curve as read; for a sweep the impulse response that was computed from it.
    metrics : dict of str to Value
        By the names of the catalogue.
    warnings : list of Warning
        What the reader must know, with stable codes.
    notes : list of str
        What was assumed and dropped, and which definitions and options were used.
    curves : dict of str to curve
        Every curve by its kind: an impulse response also gives a response, a sweep also a
        distortion.
    """

    file: str
    kind: str
    curve: Response | Distortion | Impulse
    metrics: dict[str, Value]
    warnings: list[Warning]
    notes: list[str]
    curves: Mapping[str, Response | Distortion | Impulse] = field(default_factory=dict)

    def to_dict(self) -> dict[str, Any]:
        """Return the entry of this file in ``listen --json``."""
        return {
            "file": self.file,
            "kind": self.kind,
            "metrics": {
                name: {"value": item.value, "unit": item.unit}
                | ({} if item.known_to is None else {"known_to": item.known_to})
                for name, item in self.metrics.items()
            },
            "warnings": [{"code": item.code, "text": item.text} for item in self.warnings],
            "notes": list(self.notes),
        }


def listen(
    source: Path | str | bytes,
    *,
    name: str | None = None,
    kind: str | None = None,
    options: Options | None = None,
) -> Listening:
    """Compute every metric that a measurement file carries.

    Parameters
    ----------
    source : Path, str or bytes
        A file (path), or its content (bytes).
    name : str, optional
        Name for messages; by default the file's own.
    kind : {"response", "distortion", "impulse", "sweep"}, optional
        What the file holds; by default found out from its words, units and numbers.
    options : Options, optional
        Band, drop, smoothing and so on. A recording whose excitation they do not state is
        read with the sidecar that stands beside it (`experiments.acoustics.excitation`).

    Returns
    -------
    Listening
        The curve, the metrics, the warnings and the notes.

    Raises
    ------
    CurveError
        If the file cannot be read, is ambiguous, or does not hold what was asked for.
    """
    if kind is not None and kind not in KINDS:
        raise CurveError(Problem("--kind", repr(kind), f"one of {', '.join(KINDS)}"))
    options = options or Options()
    if isinstance(source, bytes):
        path, raw, name = None, source, name or "data"
    else:
        path = Path(source)
        raw, name = _bytes_of(path), name or str(path)
    reading, options = _read(raw, name, kind, options, path)
    heard = hearing.Heard(list(reading.warnings), list(reading.notes))
    hearing.hear(reading, options, heard, name)
    metrics = {
        key: Value(heard.values[key], measure.unit, heard.known_to.get(key))
        for key, measure in MEASURES.items()
        if key in heard.values
    }
    kept = {str(k): v for k, v in heard.curves.items()}
    curve = kept.get("impulse", reading.curve) if reading.kind == "sweep" else reading.curve
    return Listening(name, reading.kind, curve, metrics, heard.warnings, heard.notes, kept)


def measure(curve: Response | Distortion | Impulse, options: Options | None = None) -> Listening:
    """Compute every metric that a curve carries, without any file.

    Parameters
    ----------
    curve : Response, Distortion or Impulse
        The curve.
    options : Options, optional
        Band, drop, smoothing and so on.

    Returns
    -------
    Listening
        As `listen` gives it; the file's name is empty.
    """
    heard = hearing.Heard([], [])
    kind = hearing.hear_curve(curve, options or Options(), heard)
    metrics = {
        key: Value(heard.values[key], item.unit, heard.known_to.get(key))
        for key, item in MEASURES.items()
        if key in heard.values
    }
    return Listening("", kind, curve, metrics, heard.warnings, heard.notes, heard.curves)


def _read(
    raw: bytes, name: str, kind: str | None, options: Options, recording: Path | None
) -> tuple[Reading, Options]:
    """Read a file; the excitation of a recording may be told by a sidecar beside it."""
    found = None
    if recording is not None and options.sweep is not None:
        found = agreeing_beside(recording, options.sweep)
        options = options.with_values({"sweep": found.sweep}) if found is not None else options
    try:
        reading = read(raw, name, kind, options)
        if found is not None and reading.kind == "sweep":
            reading.notes.append(found.note)
        return reading, options
    except NoExcitation:
        found = excitation_beside(recording) if recording is not None else None
        if found is None:
            raise
    options = options.with_values({"sweep": found.sweep})
    reading = read(raw, name, "sweep", options)
    reading.notes.append(found.note)
    return reading, options


def _bytes_of(path: Path) -> bytes:
    """Read a file, with clear words where that cannot be."""
    try:
        size = path.stat().st_size
        limit = _MAX_FILE if path.suffix.lower() in (".wav", ".wave") else 4 * MAX_BYTES
        if size > limit:
            raise CurveError(
                Problem(
                    str(path), f"{size / 1e6:.0f} MB", f"at most {limit / 1e6:.0f} MB",
                    "Export fewer points, or an impulse response as WAV.",
                )
            )  # fmt: skip
        return path.read_bytes()
    except FileNotFoundError:
        raise CurveError(
            Problem(str(path), "no such file", "a measurement file", "Check name and folder.")
        ) from None
    except IsADirectoryError:
        raise CurveError(
            Problem(
                str(path), "a folder", "a measurement file",
                "Name the files in it, such as FOLDER/*.txt.",
            )
        ) from None  # fmt: skip
    except OSError as error:
        text = error.strerror or str(error)
        raise CurveError(Problem(str(path), text, "a file that can be read")) from None
