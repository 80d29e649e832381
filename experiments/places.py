"""What lies where in the folder of an experiment."""

from __future__ import annotations

from pathlib import Path

__all__ = ["BACKUPS", "CARDS", "PLAN_FILE", "STORE_FILE", "newest_copy"]

PLAN_FILE, STORE_FILE, CARDS, BACKUPS = "experiment.toml", "experiment.db", "cards", "backups"


def newest_copy(folder: Path) -> Path | None:
    """Find the last copy that coneloop kept by itself; their names begin with the time."""
    return max((folder / BACKUPS).glob("*.db"), default=None, key=lambda path: path.name)
