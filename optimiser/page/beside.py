"""New folders beside the one that is served: their names are ours, never what a request says."""

from __future__ import annotations

from pathlib import Path

__all__ = ["new_beside"]


def new_beside(folder: Path, word: str) -> Path:
    """Name a folder beside another one that is not there yet, such as ``radio-rescued``."""
    folder, number = folder.resolve(), 1
    while True:
        more = "" if number == 1 else f"-{number}"
        path = folder.with_name(f"{folder.name}-{word}{more}")
        if not path.exists() and not path.is_symlink():
            return path
        number += 1
