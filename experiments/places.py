"""What lies where in the folder of an experiment."""

from __future__ import annotations

from pathlib import Path

__all__ = ["BACKUPS", "CARDS", "PLAN_FILE", "STORE_FILE", "age_order", "newest_copy"]

PLAN_FILE, STORE_FILE, CARDS, BACKUPS = "experiment.toml", "experiment.db", "cards", "backups"


def newest_copy(folder: Path) -> Path | None:
    """Find the last copy that coneloop kept by itself."""
    return max((folder / BACKUPS).glob("*_before_*.db"), default=None, key=age_order)


def age_order(path: Path) -> tuple[str, int]:
    """Give what sorts automatic copies by age: the time in the name, then that of the file."""
    return path.name[:17], path.stat().st_mtime_ns
