"""Acts that take for granted how a cone is: refused when somebody else changed it first."""

from __future__ import annotations

from experiments.errors import ConflictError, Problem
from experiments.store import Writer

__all__ = ["refuse_change"]


def refuse_change(writer: Writer, cone: int, version: int) -> None:
    """Raise a ConflictError unless an act still finds a cone as it was seen."""
    row = writer.one("SELECT version FROM cones WHERE id = ?", (cone,))
    if row is not None and row[0] != version:
        told = writer.one("SELECT summary, who, at FROM history WHERE id = ?", (row[0],))
        done = f"{told[0]}, by {told[1]}, {told[2]}" if told else "another act"
        raise ConflictError(
            Problem(
                f"cone {cone}",
                f"a change that came first: {done}",
                "the cone as you saw it",
                "Nothing was recorded. Look at it again.",
            )
        )
