"""An archive taken out into a folder that is there already, and stays the one that it is."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from experiments.archives import Inside
from experiments.errors import OutputError, Problem
from experiments.places import CARDS, PLAN_FILE, STORE_FILE
from experiments.unpacking import MOST, unpack

__all__ = ["move_in"]


def move_in(path: Path, folder: Path, *, most: int = MOST) -> Inside:
    """Begin the experiment of a folder from an archive.

    Somebody may be at work in the folder, so it is not replaced by another one, as
    `experiments.unpacking.unpack` does. The plan, without which no experiment has begun, comes
    last.

    Parameters
    ----------
    path : Path
        The archive.
    folder : Path
        May hold other files, but no experiment; made if it is not there.
    most : int
        Bytes that may be written.

    Returns
    -------
    Inside

    Raises
    ------
    ArchiveError
        As `unpack`; nothing is left behind.
    OutputError
        If the folder holds an experiment, or cannot be written.
    """
    _refuse_taken(folder)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder, prefix=".unpacking-") as place:
            made = Path(place) / "experiment"
            inside = unpack(path, made, most=most)
            _refuse_taken(folder)
            (folder / CARDS).mkdir(exist_ok=True)
            for name in (STORE_FILE, PLAN_FILE):
                os.replace(made / name, folder / name)
    except OSError as error:
        found = f"trouble: {error.strerror or error}"
        raise OutputError(Problem(str(folder), found, "a folder that can be written")) from None
    return inside


def _refuse_taken(folder: Path) -> None:
    for name in (PLAN_FILE, STORE_FILE):
        if os.path.lexists(folder / name):
            found, remedy = f"{name} already", "Choose another folder."
            raise OutputError(Problem(str(folder), found, "no experiment yet", remedy))
