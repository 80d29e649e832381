"""An archive taken out into a new folder: verified first, then there at once and whole."""

from __future__ import annotations

import tempfile
import tomllib
import zipfile
from pathlib import Path

from experiments.archives import (
    GIGABYTE,
    ZIP_TROUBLE,
    Inside,
    damaged,
    look_inside,
    refused,
    stream,
)
from experiments.errors import ArchiveError, OutputError, PlanError, Problem
from experiments.folder import CARDS, PLAN_FILE, STORE_FILE
from experiments.plan import Plan, read_plan_text
from experiments.strangers import check_stranger, orders_terminal

__all__ = ["MOST", "inspect", "unpack", "verify"]

MOST = 2 * GIGABYTE
"""Bytes that are written unless more is allowed."""


def inspect(path: str | Path, folder: str | Path, *, most: int = MOST) -> Inside:
    """Tell what an archive holds and how much that is; nothing is written.

    Parameters
    ----------
    path : path
        The archive.
    folder : path
        Where it shall be unpacked: a new or empty folder.
    most : int
        Bytes that may be written.

    Returns
    -------
    Inside

    Raises
    ------
    ArchiveError
        If it is not as `experiments.packing.pack` writes one, or too large.
    OutputError
        If the folder holds something already, or the place for it is missing.
    """
    path, folder = Path(path), Path(folder)
    _check_folder(folder)
    try:
        return look_inside(path, most)
    except OSError as error:
        raise _trouble(path, error, "an archive that can be read") from None


def unpack(path: str | Path, folder: str | Path, *, most: int = MOST) -> Inside:
    """Take an experiment out of an archive.

    Everything goes into a folder beside the new one, is verified there (sizes, SHA-256, the
    plan, and the store as one of a stranger), and is renamed at the end.

    Parameters
    ----------
    path, folder, most
        As in `inspect`.

    Returns
    -------
    Inside

    Raises
    ------
    ArchiveError
        If anything is not as the archive says, or not an experiment; nothing is left behind.
    OutputError
        As in `inspect`, or if it cannot be written.
    """
    path, folder = Path(path), Path(folder)
    inside = inspect(path, folder, most=most)
    try:
        with tempfile.TemporaryDirectory(dir=folder.parent, prefix=f".{folder.name}.") as place:
            made = Path(place) / "made"
            made.mkdir()
            verify(path, inside, made)
            _check_plan(path.name, made / PLAN_FILE)
            check_stranger(made / STORE_FILE, f"{path.name}, {STORE_FILE}")
            (made / CARDS).mkdir()
            if folder.exists():
                folder.rmdir()  # it is empty, or this fails
            made.rename(folder)
    except OSError as error:
        raise _trouble(folder, error, "a folder that can be written") from None
    return inside


def verify(path: Path, inside: Inside, folder: Path | None) -> None:
    """Read the files of an archive, compare them with its list, and write them out.

    Parameters
    ----------
    path : Path
        The archive.
    inside : Inside
        What it says it holds.
    folder : Path or None
        Where to write; None to read only.

    Raises
    ------
    ArchiveError
        If sizes or digests differ from the list.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            for entry in inside.entries:
                with archive.open(entry.name) as source:
                    if folder is None:
                        found = stream(source, None, entry.size)
                    else:
                        with (folder / entry.name).open("xb") as target:
                            found = stream(source, target, entry.size)
                if found != (entry.size, entry.sha256):
                    where = f"{path.name}, {entry.name}"
                    raise refused(where, "other bytes", "those of the list")
    except ZIP_TROUBLE as error:
        raise damaged(path, error) from None


def _check_plan(archive: str, path: Path) -> None:
    where = f"{archive}, {PLAN_FILE}"
    try:
        text = read_plan_text(path)
    except PlanError as error:
        raise ArchiveError(*(f"{archive}, {problem}" for problem in error.problems)) from None
    try:
        # Before anything of it is shown, be it in an error.
        if orders_terminal(text) or orders_terminal(tomllib.loads(text)):
            raise refused(where, "a text with orders to a terminal", "plain texts")
        Plan.from_text(text, where)
    except (tomllib.TOMLDecodeError, RecursionError):
        raise refused(where, "no TOML", "a plan") from None
    except PlanError as error:
        raise ArchiveError(*error.problems) from None


def _check_folder(folder: Path) -> None:
    if not folder.parent.is_dir():
        found, remedy = f"no folder {folder.parent}", "Make it first, or name another one."
        raise OutputError(Problem(str(folder), found, "a folder that exists", remedy))
    if folder.is_symlink() or (folder.exists() and not folder.is_dir()):
        raise OutputError(Problem(str(folder), "something that is no folder", "a new folder"))
    if folder.is_dir() and any(folder.iterdir()):
        remedy = "Name another one; nothing is ever unpacked over other files."
        raise OutputError(Problem(str(folder), "other files", "a new or empty folder", remedy))


def _trouble(path: Path, error: OSError, expected: str) -> OutputError:
    return OutputError(Problem(str(path), f"trouble: {error.strerror or error}", expected))
