"""Files that a person asks for: never over somebody else's, and whole or not at all."""

from __future__ import annotations

import hashlib
import os
import re
import struct
import tempfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from experiments.errors import OutputError, Problem

__all__ = [
    "MARK",
    "Kind",
    "check_output",
    "is_mark",
    "is_sealed",
    "is_sealed_png",
    "seal",
    "seal_png",
    "write_whole",
]

_NAME, _DIGITS = "coneloop ", 16
MARK = f"{_NAME}{'0' * _DIGITS}"
"""What a file bears where `seal` shall put its digest: in a comment, in a heading."""

_SEAL = re.compile(rf"{_NAME}[0-9a-f]{{{_DIGITS}}}")
_SEAL_BYTES = re.compile(_SEAL.pattern.encode())


@dataclass(frozen=True)
class Kind:
    """A sort of file that coneloop writes.

    Parameters
    ----------
    name : str
        What it is, in a few words.
    suffixes : tuple of str
        How such a file may be called, in small letters with the point.
    ours : callable
        Tells from the content of a file whether coneloop wrote it, and nobody edited it since.
    """

    name: str
    suffixes: tuple[str, ...]
    ours: Callable[[bytes], bool]


def check_output(path: Path, kind: Kind, *, force: bool = False) -> None:
    """Make sure that a file may be written, before any work is done for it.

    Parameters
    ----------
    path : Path
        The file that was asked for.
    kind : Kind
        What shall be written.
    force : bool
        Allow an existing file that is not of our making, or was edited since; the suffix has to
        fit all the same.

    Raises
    ------
    OutputError
        If the suffix does not fit, the folder is missing, or another file stands there.
    """
    if path.suffix.lower() not in kind.suffixes:
        wanted = " or ".join(kind.suffixes)
        remedy = f"Call it, say, {path.stem or 'file'}{kind.suffixes[0]}."
        found = f"the ending {path.suffix!r}" if path.suffix else "no ending"
        raise OutputError(Problem(str(path), found, wanted, remedy))
    if not path.parent.is_dir():
        raise OutputError(
            Problem(
                str(path),
                f"no folder {path.parent}",
                "a folder that exists",
                "Make it first, or name another one.",
            )
        )
    if not path.exists() or (force and path.is_file()):
        return
    if not path.is_file():
        raise OutputError(Problem(str(path), "something that is no file", "a file or nothing"))
    try:
        ours = kind.ours(path.read_bytes())
    except OSError as error:
        raise _trouble(path, error) from None
    if not ours:
        raise OutputError(
            Problem(
                str(path),
                f"a file that is not {kind.name} of coneloop's making, or was edited since",
                "a new file, or one just as coneloop wrote it",
                "Choose another name; --force overwrites it all the same.",
            )
        )


def seal(content: bytes) -> bytes:
    """Put a digest of all the rest in the place of the first `MARK`.

    Parameters
    ----------
    content : bytes
        What shall be written, with a `MARK` in it.

    Returns
    -------
    bytes
        As `is_sealed` knows it again, as long as not one byte is changed.
    """
    return content.replace(MARK.encode(), _digest(content), 1)


def is_sealed(content: bytes) -> bool:
    """Whether a file is byte for byte as `seal` made it."""
    return any(
        _digest(content[: found.start()] + MARK.encode() + content[found.end() :]) == found[0]
        for found in _SEAL_BYTES.finditer(content)
    )


_END = 12
"""Bytes of the chunk that ends every PNG (ISO/IEC 15948, 11.2.5)."""


def seal_png(content: bytes) -> bytes:
    """Put the digest of a PNG into it, as a comment (a chunk tEXt: ISO/IEC 15948, 11.3.4.3)."""
    data = b"tEXtComment\0" + _digest(content)
    chunk = struct.pack(">I", len(data) - 4) + data + struct.pack(">I", zlib.crc32(data))
    return content[:-_END] + chunk + content[-_END:]


def is_sealed_png(content: bytes) -> bool:
    """Whether a file is byte for byte as `seal_png` made it."""
    added = 8 + len("tEXtComment\0") + len(MARK)
    return seal_png(content[: -_END - added] + content[-_END:]) == content


def is_mark(text: str) -> bool:
    """Whether a text is nothing but a seal, such as the heading of a column."""
    return _SEAL.fullmatch(text) is not None


def _digest(content: bytes) -> bytes:
    return f"{_NAME}{hashlib.sha256(content).hexdigest()[:_DIGITS]}".encode()


def write_whole(path: Path, content: bytes) -> Path:
    """Write a file so that a reader sees the old one or the new one, never a half.

    Parameters
    ----------
    path : Path
        Where; the folder must exist.
    content : bytes
        All of it.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    OutputError
        If it cannot be written; an older file is as it was then.
    """
    part = ""
    try:
        handle, part = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        # mkstemp makes files that only the owner can read; what is written here is to be shared.
        os.chmod(part, 0o644)
        os.replace(part, path)
    except BaseException as error:
        if part:
            Path(part).unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise _trouble(path, error) from None
        raise
    return path


def _trouble(path: Path, error: OSError) -> OutputError:
    return OutputError(
        Problem(str(path), f"trouble: {error.strerror or error}", "a file that can be written")
    )
