"""A whole experiment as one archive: plan and store, verified after writing."""

from __future__ import annotations

import os
import sqlite3
import tempfile
import zipfile
import zlib
from contextlib import closing
from datetime import UTC, datetime
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import IO

from experiments.archives import (
    GIGABYTE,
    MANIFEST,
    RATIO,
    SMALL,
    Entry,
    Inside,
    look_inside,
    manifest_text,
    stream,
)
from experiments.errors import OutputError, Problem
from experiments.folder import PLAN_FILE, STORE_FILE
from experiments.ledger import Ledger
from experiments.outputs import Kind, check_output
from experiments.unpacking import verify

__all__ = ["pack"]

_KIND = Kind("an archive", (".zip",), lambda _content: False)
_LONG_AGO = (1980, 1, 1, 0, 0, 0)
"""The time of every entry: equal experiments shall give equal entries."""


def pack(
    ledger: Ledger, path: str | Path, *, force: bool = False, now: datetime | None = None
) -> Inside:
    """Write plan and store into one archive, while others may go on working.

    The raw files and the whole history are in the store. Print cards stay behind: they are
    pages, and nobody should have to open a stranger's pages.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    path : path
        The archive, ``.zip``; it appears complete and verified, or not at all.
    force : bool
        Replace an existing file.
    now : datetime, optional
        When it is made, aware; the present if not given.

    Returns
    -------
    Inside
        What it holds.

    Raises
    ------
    LedgerError
        If the store cannot be copied.
    OutputError
        If the file exists, or cannot be written.
    """
    path = Path(path)
    check_output(path, _KIND, force=force)
    stamp = (now or datetime.now(UTC)).astimezone(UTC).isoformat(timespec="seconds")
    part = Path()
    try:
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=f".{path.name}.") as place:
            part = Path(place) / path.name
            store = Path(place) / STORE_FILE
            plan = (ledger.folder / PLAN_FILE).read_bytes()
            ledger.backup(store)
            _close_log(store)
            (Path(place) / PLAN_FILE).write_bytes(plan)
            _write(part, Path(place), ledger.plan.name, f"{stamp} by coneloop {_release()}")
            inside = look_inside(part, max(store.stat().st_size, GIGABYTE))
            verify(part, inside, None)
            os.chmod(part, 0o644)
            os.replace(part, path)
    except OSError as error:
        found = f"trouble: {error.strerror or error}"
        raise OutputError(Problem(str(path), found, "a file that can be written")) from None
    return inside


def _close_log(store: Path) -> None:
    """Let the copy be one single file, which can be opened without writing beside it.

    The plan, which a backup holds in a table of its own, goes into the archive as a file.
    """
    with closing(sqlite3.connect(store, isolation_level=None)) as connection:
        connection.execute("DROP TABLE IF EXISTS backup")
        connection.execute("PRAGMA journal_mode = DELETE")


def _release() -> str:
    try:
        return version("coneloop")
    except PackageNotFoundError:  # run from a checkout that is not installed
        return "(not installed)"


def _write(part: Path, place: Path, name: str, made: str) -> None:
    entries = []
    for file in (PLAN_FILE, STORE_FILE):
        with (place / file).open("rb") as source:
            entries.append(Entry(file, *stream(source, None, 1 << 62)))
    with zipfile.ZipFile(part, "w") as archive:
        info = _info(MANIFEST, zipfile.ZIP_DEFLATED)
        archive.writestr(info, manifest_text(name, made, entries))
        for entry in entries:
            with (place / entry.name).open("rb") as source:
                info = _info(entry.name, _method(source))
                info.file_size = entry.size  # tells `zipfile` whether ZIP64 is needed
                with archive.open(info, "w") as target:
                    stream(source, target, entry.size)


def _info(name: str, method: int) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _LONG_AGO)
    info.compress_type = method
    info.external_attr = 0o100644 << 16
    info.create_system = 3
    return info


def _method(source: IO[bytes]) -> int:
    """Choose deflate, unless the content packs so well that it would be taken for a bomb."""
    deflate, size, packed = zlib.compressobj(1), 0, 0
    while piece := source.read(1 << 20):
        size += len(piece)
        packed += len(deflate.compress(piece))
    packed += len(deflate.flush())
    source.seek(0)
    # The final packing is at most twice as tight as this quick one.
    bomb = size > SMALL // 2 + RATIO // 2 * packed
    return zipfile.ZIP_STORED if bomb else zipfile.ZIP_DEFLATED
