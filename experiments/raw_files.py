"""The raw files of one mounting: from this disk or sent, opened as the plan's rig writes them."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, fields, replace
from functools import partial
from pathlib import Path
from typing import Any

from experiments.acoustics.excitation import (
    ENDING,
    Found,
    excitation_beside,
    read_sidecar,
    sidecar_of,
)
from experiments.acoustics.form import Form
from experiments.acoustics.listening import Listening, listen
from experiments.acoustics.options import Options, Sweep
from experiments.acoustics.reading import NoExcitation
from experiments.errors import CurveError, Problem
from experiments.plan import Plan
from experiments.records import StoredCurve

__all__ = [
    "RawFile",
    "Source",
    "listen_sent",
    "open_source",
    "sources_on_disk",
    "sources_sent",
    "with_rig",
]

READING = (
    "sweep", "channel", "loopback", "rate", "sensitivity_dbfs", "drive_volts", "distance_m",
    "columns", "unit", "decimal", "delimiter", "encoding",
)  # fmt: skip
"""Options that say how a file is read, and are therefore stored with it."""

MAX_BYTES = 1_000_000_000  # SQLite's own limit for one value

_EXCITED = (
    "Of a sweep recording, send the .sweep.toml along or state the sweep; else say that it holds "
    "an impulse."
)


class RawFile:
    """One file, listened to once for each set of options that some metric wants.

    Parameters
    ----------
    name : str
    content : bytes
    kind : str or None
        Found out where not given.
    base : Options
        How the file is read.

    Raises
    ------
    CurveError
        If it cannot be read.
    """

    def __init__(self, name: str, content: bytes, kind: str | None, base: Options) -> None:
        self.name, self.content, self.base = name, content, base
        self._heard = {base: listen(content, name=name, kind=kind, options=base)}
        self.kind = self.heard.kind

    @property
    def heard(self) -> Listening:
        """What the file gives without any metric's own options."""
        return self._heard[self.base]

    def listen(self, options: Mapping[str, Any]) -> Listening:
        """Give what the file says under a metric's own options."""
        wanted = self.base.with_values(options)
        if wanted not in self._heard:
            self._heard[wanted] = listen(
                self.content, name=self.name, kind=self.kind, options=wanted
            )
        return self._heard[wanted]

    def stored(self) -> StoredCurve:
        """Give the file as the store keeps it."""
        given = {name: getattr(self.base, name) for name in READING}
        plain = {
            name: asdict(value) if isinstance(value, Sweep) else value
            for name, value in given.items()
            if value is not None
        }
        return StoredCurve(self.name, self.kind, self.content, plain)


@dataclass(frozen=True)
class Source:
    """Where a file comes from: its name, its bytes, its kind if stated, its excitation if any."""

    name: str
    read: Callable[[], bytes]
    kind: str | None
    excitation: Callable[[], Found | None]


def _same(content: bytes) -> bytes:
    return content


def _sent_with(recording: str, sidecars: Mapping[str, bytes]) -> Found | None:
    """Find the sidecar of a recording: of its own name, else the only one."""
    own = sidecar_of(Path(recording)).name
    there = [own] if own in sidecars else sorted(sidecars)
    if len(there) > 1:
        wanted = f"one, or one called {own}"
        raise CurveError(Problem(recording, f"{len(there)} sidecars sent with it", wanted))
    return read_sidecar(there[0], sidecars[there[0]]) if there else None


def sources_on_disk(
    files: Sequence[str | Path], kinds: Mapping[str | Path, str] | str | None
) -> list[Source]:
    """Give files of this disk; the sidecar of a sweep may stand beside its recording."""
    return [
        Source(
            path.name,
            partial(_bytes, path),
            _kind(path, kinds),
            partial(excitation_beside, path),
        )
        for path in map(Path, files)
    ]


def sources_sent(
    files: Sequence[tuple[str, bytes]], kinds: Mapping[str, str] | None
) -> list[Source]:
    """Give files by name and content; the sidecar of a sweep may be among them."""
    sidecars = {name: content for name, content in files if name.endswith(ENDING)}
    return [
        Source(
            name,
            partial(_same, content),
            (kinds or {}).get(name),
            partial(_sent_with, name, sidecars),
        )
        for name, content in files
        if name not in sidecars
    ]


def listen_sent(
    files: Sequence[tuple[str, bytes]],
    *,
    kinds: Mapping[str, str] | None = None,
    options: Options | None = None,
) -> list[Listening]:
    """Listen to files that were sent, without any plan.

    Parameters
    ----------
    files, kinds
        As `sources_sent`; the sidecar of a sweep may be among the files.
    options : Options, optional
        For all of them.

    Returns
    -------
    list of Listening
        One a file; sidecars are none.

    Raises
    ------
    CurveError
        With every file that cannot be read, or if there is none.
    """
    heard: list[Listening] = []
    problems: list[Problem | str] = []
    for source in sources_sent(files, kinds):
        try:
            heard.append(_listen(source, options or Options()))
        except CurveError as error:
            problems += error.problems
    if problems or not heard:
        raise CurveError(*(problems or [Problem("files", "no raw file", "one or more")]))
    return heard


def _listen(source: Source, options: Options) -> Listening:
    try:
        return listen(source.read(), name=source.name, kind=source.kind, options=options)
    except NoExcitation as error:
        found = source.excitation()
        if found is None:
            known = [one for one in error.problems if isinstance(one, Problem)]
            raise CurveError(*(replace(one, remedy=_EXCITED) for one in known)) from None
    fitted = options.with_values({"sweep": found.sweep})
    heard = listen(source.read(), name=source.name, kind="sweep", options=fitted)
    heard.notes.append(found.note)
    return heard


def _kind(path: Path, kinds: Mapping[str | Path, str] | str | None) -> str | None:
    if kinds is None or isinstance(kinds, str):
        return kinds
    named = {str(key): kind for key, kind in kinds.items()}
    return named.get(str(path), named.get(path.name))


def open_source(plan: Plan, source: Source, options: Options) -> RawFile:
    """Read a file and find out its kind.

    Raises
    ------
    CurveError
        If it cannot be read.
    """
    name, kind, content = source.name, source.kind, source.read()
    if kind == "sweep":
        return RawFile(name, content, kind, _with_excitation(plan, source, options))
    if kind is not None:
        return RawFile(name, content, kind, with_rig(plan, kind, options))
    try:
        file = RawFile(name, content, None, options)
    except CurveError as error:
        # A recording of unknown kind may be the sweep that the plan says the rig plays.
        recording = content[:4] in (b"RIFF", b"RIFX")
        if not recording:
            return _in_stated_form(plan, name, content, options, error)
        rig = "sweep" in plan.rig
        if not rig and not isinstance(error, NoExcitation):
            raise
        fitted = _with_excitation(plan, source, options)
        if fitted.sweep is None:
            raise
        return RawFile(name, content, "sweep", fitted)
    fitted = with_rig(plan, file.kind, options)
    return file if fitted == options else RawFile(name, content, file.kind, fitted)


def _in_stated_form(
    plan: Plan, name: str, content: bytes, options: Options, error: CurveError
) -> RawFile:
    """Read a text file of unknown kind in a form that the plan states for one kind."""
    found, refusals = [], []
    stated = {field.name for field in fields(Form)}
    for kind in (kind for kind, keys in plan.rig.items() if stated & keys.keys()):
        try:
            file = RawFile(name, content, None, with_rig(plan, kind, options))
        except CurveError as refusal:
            refusals.append(refusal)
            continue
        found += [file] if file.kind == kind else []
    if len(found) == 1:
        return found[0]
    raise refusals[0] if len(refusals) == 1 and not found else error


def _bytes(path: Path) -> bytes:
    try:
        if path.stat().st_size > MAX_BYTES:
            raise CurveError(
                Problem(str(path), "more than 1 GB", "a measurement file", "Export fewer points.")
            )
        return path.read_bytes()
    except OSError as error:
        found = {FileNotFoundError: "no such file", IsADirectoryError: "a folder"}.get(
            type(error), error.strerror or str(error)
        )
        raise CurveError(Problem(str(path), found, "a measurement file")) from None


def with_rig(plan: Plan, kind: str, options: Options) -> Options:
    """Add what the plan says about the rig's files where `options` say nothing."""
    known = {one.name for one in fields(Options)}
    given = {
        name: Sweep.from_text(value) if name == "sweep" else value
        for name, value in plan.rig.get(kind, {}).items()
        if name in known and getattr(options, name) is None
    }
    return options.with_values(given)


def _with_excitation(plan: Plan, source: Source, options: Options) -> Options:
    """Add the rig's words about sweeps; the excitation may stand beside the recording instead."""
    fitted = with_rig(plan, "sweep", options)
    found = source.excitation() if fitted.sweep is None else None
    return fitted if found is None else fitted.with_values({"sweep": found.sweep})
