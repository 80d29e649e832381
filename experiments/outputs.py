"""Files that a person asks for: never over somebody else's, and whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from experiments.errors import OutputError, Problem

__all__ = ["Kind", "check_output", "write_whole"]


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
        Tells from the content of a file whether coneloop wrote one like it.
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
        Allow an existing file that is not of our making; the suffix has to fit all the same.

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
                f"a file that is not {kind.name} of coneloop's making",
                "a new file, or one that coneloop wrote",
                "Choose another name; --force overwrites it all the same.",
            )
        )


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
