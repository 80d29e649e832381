"""How many examples a property is tried with."""

from __future__ import annotations

from hypothesis import settings

__all__ = ["QUICK", "examples"]

QUICK = "repeatable"
"""The profile of the default suite."""


def examples(count: int, *, whole: bool | None = None) -> int:
    """Give a third of `count` in the default suite, all of it where slow tests are run."""
    if whole is None:
        whole = settings.get_current_profile_name() != QUICK
    return count if whole else max(5, count // 3)
