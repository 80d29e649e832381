"""The archive of a whole experiment: which files it holds, its manifest, and its bounds.

A ZIP file (ISO/IEC 21320-1: stored or deflated, nothing encrypted, one volume) with three entries
and no folders: ``manifest.json`` (JSON, RFC 8259) with the size and the SHA-256 (FIPS 180-4) of
the others, ``experiment.toml``, and ``experiment.db``, an SQLite 3 database.
"""

from __future__ import annotations

import errno
import hashlib
import json
import re
import struct
import zipfile
import zlib
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from experiments.copies import MAGIC
from experiments.errors import ArchiveError, Problem
from experiments.folder import PLAN_FILE, STORE_FILE
from experiments.plan import MAX_BYTES
from experiments.zips import directory_of

__all__ = [
    "GIGABYTE",
    "MANIFEST",
    "RATIO",
    "SMALL",
    "ZIP_TROUBLE",
    "Entry",
    "Inside",
    "damaged",
    "look_inside",
    "manifest_text",
    "one_line",
    "refused",
    "stream",
]

MANIFEST = "manifest.json"
FORMAT = "coneloop experiment 1"
GIGABYTE = 10**9

RATIO, SMALL = 200, 1_000_000
"""A file that was packed to less than a 200th, and is not small, is taken for a bomb."""
_MANIFEST_BYTES = 20_000
_DIRECTORY_BYTES = 10_000
_CHUNK = 1 << 20
_FILES = (PLAN_FILE, STORE_FILE)
_NOT_ZIP = "Ask for the archive again, as `coneloop pack` wrote it."


@dataclass(frozen=True)
class Entry:
    """One file of an archive: its name, its size in bytes, its SHA-256."""

    name: str
    size: int
    sha256: str


@dataclass(frozen=True)
class Inside:
    """What an archive says it holds; nothing of that is verified yet but that it is bounded.

    Parameters
    ----------
    name : str
        Of the experiment, one line.
    made : str
        When and by which release.
    entries : tuple of Entry
        The plan and the store.
    """

    name: str
    made: str
    entries: tuple[Entry, ...]

    @property
    def size(self) -> int:
        """Bytes that unpacking writes."""
        return sum(entry.size for entry in self.entries)


def refused(where: str, found: str, expected: str, remedy: str = _NOT_ZIP) -> ArchiveError:
    """Make the error for an archive that is not as `coneloop pack` writes it."""
    return ArchiveError(Problem(where, found, expected, remedy))


def manifest_text(name: str, made: str, entries: list[Entry]) -> str:
    """Write the manifest."""
    files = [{"name": one.name, "bytes": one.size, "sha256": one.sha256} for one in entries]
    note = "An experiment with loudspeaker cones. coneloop unpack FILE FOLDER takes it out."
    keys = {"format": FORMAT, "name": name, "made": made, "note": note, "files": files}
    return json.dumps(keys, ensure_ascii=False, indent=2)


def stream(source: IO[bytes], target: IO[bytes] | None, most: int) -> tuple[int, str]:
    """Copy a file in pieces.

    Parameters
    ----------
    source, target : binary files
        From and to; None to read only.
    most : int
        Bytes after which it stops, whatever more there is.

    Returns
    -------
    tuple
        Bytes read (more than `most` if there is more) and their SHA-256.
    """
    digest, size = hashlib.sha256(), 0
    while size <= most and (piece := source.read(min(_CHUNK, most + 1 - size))):
        size += len(piece)
        digest.update(piece)
        if target is not None:
            target.write(piece)
    return size, digest.hexdigest()


def look_inside(path: Path, most: int) -> Inside:
    """Read what an archive says of itself, and refuse whatever `coneloop pack` never writes.

    Parameters
    ----------
    path : Path
        The archive; it may come from a stranger.
    most : int
        Bytes that its files may have together.

    Returns
    -------
    Inside

    Raises
    ------
    ArchiveError
        For another file, further entries, links, encryption, or sizes out of bounds. Only the
        directory and the manifest have been read then.
    """
    _check_directory(path)
    try:
        with zipfile.ZipFile(path) as archive:
            _check_entries(path, archive, most)
            with archive.open(MANIFEST) as file:
                text = file.read(_MANIFEST_BYTES + 1)
            inside = _manifest(path, text)
            for one in inside.entries:
                if archive.getinfo(one.name).file_size != one.size:
                    raise refused(f"{path.name}, {one.name}", "another size", "that of the list")
    except ZIP_TROUBLE as error:
        raise damaged(path, error) from None
    except OSError as error:
        if error.errno != errno.EINVAL:  # an entry that is said to lie before the file
            raise
        raise damaged(path, error) from None
    return inside


ZIP_TROUBLE = (
    zipfile.BadZipFile,
    zlib.error,
    NotImplementedError,  # a compression or a version of the format that `zipfile` does not know
    EOFError,
    struct.error,
    ValueError,
)
"""What `zipfile` raises for a file that is damaged or that it cannot read."""


def damaged(path: Path, error: BaseException) -> ArchiveError:
    """Make the error for an archive that cannot be read."""
    return refused(path.name, f"a damaged archive ({error})", "a whole one")


def _check_directory(path: Path) -> None:
    """Bound the directory before anything parses it."""
    count, size = directory_of(path)
    if count == size == 0:
        with path.open("rb") as file:
            backup = file.read(len(MAGIC)) == MAGIC
        if backup:
            remedy = f"Put a backup back with `coneloop restore {path}`."
            raise refused(path.name, "a database", "an archive of an experiment", remedy)
        raise refused(path.name, "a file that ends otherwise", "an archive of an experiment")
    if count != len(_FILES) + 1 or not 0 < size <= _DIRECTORY_BYTES:
        found = f"{count:,} entries" if count != len(_FILES) + 1 else "an odd directory"
        raise refused(path.name, found, f"{MANIFEST}, {PLAN_FILE} and {STORE_FILE}")


def _check_entries(path: Path, archive: zipfile.ZipFile, most: int) -> None:
    listed = archive.infolist()
    names = [one.orig_filename for one in listed]
    if sorted(names) != sorted((MANIFEST, *_FILES)):
        shown = ", ".join(map(repr, names))
        raise refused(path.name, shown[:200], f"{MANIFEST}, {PLAN_FILE} and {STORE_FILE}")
    limits = {MANIFEST: _MANIFEST_BYTES, PLAN_FILE: MAX_BYTES, STORE_FILE: most}
    for one in listed:
        where = f"{path.name}, {one.filename}"
        if one.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
            raise refused(where, "an unusual compression", "deflate, or none")
        kind = one.external_attr >> 28
        if one.flag_bits & 1 or kind not in (0, 8):  # 8 is a plain file: S_IFREG >> 12
            raise refused(where, "an encrypted file, a link or a device", "a plain file")
        if one.file_size > limits[one.filename]:
            found, wanted = (f"{size:,} bytes" for size in (one.file_size, limits[one.filename]))
            remedy = (
                "If you trust it, allow more with --most." if one.filename == STORE_FILE else ""
            )
            raise refused(where, found, f"at most {wanted}", remedy)
        if one.file_size > SMALL + RATIO * one.compress_size:
            found = f"{one.file_size:,} bytes out of {one.compress_size:,}"
            raise refused(where, found, "a file that packs less well", "It looks like a bomb.")


def _manifest(path: Path, text: bytes) -> Inside:
    """Read the manifest strictly; its texts go to a terminal."""
    where = f"{path.name}, {MANIFEST}"
    try:
        keys: Any = json.loads(text)
    except (ValueError, RecursionError):
        raise refused(where, "no JSON", "the list of the files") from None
    try:
        if keys["format"] != FORMAT:
            raise refused(
                where,
                f"the format {one_line(str(keys['format']))!r}",
                repr(FORMAT),
                "Update coneloop if it is a newer one.",
            )
        entries = [Entry(str(one["name"]), one["bytes"], one["sha256"]) for one in keys["files"]]
        name, made = one_line(str(keys["name"])), one_line(str(keys["made"]))
    except (KeyError, TypeError, IndexError):
        raise refused(where, "other keys", "the list of the files") from None
    if [one.name for one in entries] != list(_FILES) or not all(map(_sound, entries)):
        raise refused(where, "another list of files", f"{PLAN_FILE} and {STORE_FILE}")
    return Inside(name, made, tuple(entries))


def _sound(entry: Entry) -> bool:
    return (
        isinstance(entry.size, int)
        and isinstance(entry.sha256, str)
        and re.fullmatch("[0-9a-f]{64}", entry.sha256) is not None
    )


def one_line(text: str) -> str:
    """Leave of a stranger's text what a terminal shows and nothing that it obeys."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)[:120]
