"""What an edited spreadsheet would change, as records: cells, measurements, cones."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from experiments.errors import Problem

__all__ = ["Change", "ConeEdit", "Preview", "Row", "Sitting", "show"]

Row = dict[str, Any]


@dataclass(frozen=True)
class Change:
    """One cell that would change.

    Parameters
    ----------
    row : int
        Row of the spreadsheet.
    cone : int or None
        The cone; None for a new one that gets its number on applying.
    column : str
        The column.
    before, after : object
        The value now and then; None for nothing.
    by_hand : bool
        Whether a number that was computed from curves would be overwritten by hand.
    """

    row: int
    cone: int | None
    column: str
    before: Any
    after: Any
    by_hand: bool = False

    def record(self) -> list[Any]:
        """Give the change as a JSON list for the history."""
        return [self.row, self.cone, self.column, self.before, self.after, self.by_hand]

    def __str__(self) -> str:
        cone = "a new cone" if self.cone is None else f"cone {self.cone}"
        hand = " (entered by hand, in place of what the curves gave)" if self.by_hand else ""
        return f"{cone}, {self.column}: {show(self.before)} → {show(self.after)}{hand}"


def show(value: Any) -> str:
    """Write a value as messages show it."""
    if value is None:
        return "nothing"
    return f"{value:.6g}" if isinstance(value, float) else str(value)


@dataclass
class Sitting:
    """One measurement that is new (`id` is None) or edited."""

    id: int | None
    fields: Row = field(default_factory=dict)
    readings: dict[str, float | None] = field(default_factory=dict)


@dataclass
class ConeEdit:
    """Everything that a sheet changes about one cone.

    Attributes
    ----------
    cone : int or None
        Its number; None for a new one without.
    new : bool
        Whether the cone is new.
    was, status : str or None
        Status now, and the one it gets; None where it stays.
    version : int or None
        The act that last touched it when the preview was made.
    recipe : dict or None
        The complete recipe where it changes.
    fields : dict
        Columns of the cone in the store.
    why : str
        Reason of a failure or of setting aside.
    sittings : list of Sitting
        Its measurements that change.
    """

    cone: int | None
    new: bool
    was: str | None = None
    status: str | None = None
    version: int | None = None
    recipe: Row | None = None
    fields: Row = field(default_factory=dict)
    why: str = ""
    sittings: list[Sitting] = field(default_factory=list)


@dataclass(frozen=True)
class Preview:
    """What taking a sheet in would do.

    Parameters
    ----------
    path : Path
        The file.
    changes : tuple of Change
        Every cell that changes.
    problems : tuple of Problem
        Everything that stands in the way; with any, the sheet cannot be applied.
    notes : tuple of str
        What was assumed or left alone.
    new_cones, new_measurements : int
        How many come new.
    edits : tuple of ConeEdit
        The changes as `experiments.exchange.apply` writes them.
    plan, digest : str
        Digests of the plan and of the file.
    """

    path: Path
    changes: tuple[Change, ...]
    problems: tuple[Problem, ...]
    notes: tuple[str, ...]
    new_cones: int
    new_measurements: int
    edits: tuple[ConeEdit, ...] = field(repr=False)
    plan: str = field(repr=False)
    digest: str = field(repr=False)

    @property
    def headline(self) -> str:
        """The changes in a few words."""
        parts = [
            f"{count} {word}{'' if count == 1 else 's'}"
            for count, word in (
                (self.new_cones, "new cone"),
                (self.new_measurements, "new measurement"),
                (len(self.changes), "changed cell"),
            )
            if count
        ]
        return ", ".join(parts) or "no changes"
