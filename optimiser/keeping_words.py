"""What a backup or an archive holds and would change, in words."""

from __future__ import annotations

from experiments.restoring import Restoring
from optimiser import wording

__all__ = ["file_size", "restoring_lines"]

_SHOWN = 20
"""Acts of either side that are listed; the rest is counted."""


def restoring_lines(look: Restoring) -> list[str]:
    """Say what would change, one thing a line; nothing where all is as in the backup."""
    if look.nothing:
        return []
    now, then = look.cones
    if look.damage:
        lines = [f"all of the store, which cannot be used now: {look.damage}"]
    else:
        lines = [f"the table: from {wording.many(now, 'cone')} to {then}"]
        lines += _listed(look.taken, "no longer there")
        lines += _listed(look.brought, "there again")
    if look.plan_changes:
        lines.append("experiment.toml: as it was when the backup was made")
    return lines


def _listed(acts: list[str], what: str) -> list[str]:
    more = len(acts) - _SHOWN
    lines = [f"{what}: {act}" for act in acts[-_SHOWN:]]
    return [f"{what}: {more} acts before these", *lines] if more > 0 else lines


def file_size(size: int) -> str:
    """Write a number of bytes with three digits."""
    for unit, word in ((10**9, "GB"), (10**6, "MB"), (10**3, "kB")):
        if size >= unit:
            return f"{size / unit:.3g} {word}"
    return f"{size} bytes"
