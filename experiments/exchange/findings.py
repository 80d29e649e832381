"""What is found while a spreadsheet is compared: changes, problems, notes, edits."""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from experiments.circumstances import CIRCUMSTANCES
from experiments.errors import Problem, RecipeError
from experiments.exchange.cells import DateText
from experiments.exchange.mangled import cut_exponent
from experiments.exchange.preview import Change, ConeEdit, Row, Sitting, show
from experiments.exchange.rows import SheetRow
from experiments.plan import Plan
from experiments.slips import recipe_remarks, refuse_slips
from experiments.space import Space
from experiments.trials import is_mass

__all__ = ["Findings"]


class Findings:
    """Collects what a comparison finds, and holds what both sorts of cone need.

    Parameters
    ----------
    plan, space
        The present plan and its recipes.

    Attributes
    ----------
    changes, problems, notes, edits : list
        As in `experiments.exchange.preview.Preview`.
    rounded : dict of str to list of int
        Columns, and the rows in which their cells are what is stored, but rounded.
    masses : set of str
        The metrics that are the cone's mass.
    """

    def __init__(self, plan: Plan, space: Space) -> None:
        self.plan, self._space = plan, space
        self.changes: list[Change] = []
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.edits: list[ConeEdit] = []
        self.rounded: dict[str, list[int]] = {}
        self.masses = {name for name, one in plan.metrics.items() if is_mass(one)}

    def change(
        self,
        row: SheetRow,
        cone: int | None,
        column: str,
        before: Any,
        after: Any,
        *,
        by_hand: bool = False,
    ) -> None:
        """Note a cell that changes; refuse one that the spreadsheet may have changed by itself."""
        text = row.texts.get(column, "")
        if isinstance(after, float) and cut_exponent(text):
            wanted = "all digits of the number"
            self.problem(
                row, column, text, wanted, "Widen the column, or format it, and save again."
            )
        elif before is not None and isinstance(text, DateText):
            wanted = f"{show(before)}, or a text: the spreadsheet may have made a day of it"
            self.problem(row, column, str(text), wanted, "Format the cell as text.")
        self.changes.append(Change(row.number, cone, column, before, after, by_hand))

    def problem(
        self, row: SheetRow, column: str, found: Any, wanted: str, remedy: str = ""
    ) -> None:
        """Note a cell that cannot be taken."""
        where = f"row {row.number}, column {column}" if column else f"row {row.number}"
        self.problems.append(Problem(where, show(found), wanted, remedy))

    def agreed(
        self, rows: list[SheetRow], column: str, *, blanks: bool = True
    ) -> tuple[bool, Any]:
        """Tell whether the rows of one cone give a column, and the one value that they give."""
        given = [
            row
            for row in rows
            if column in row.cells and (blanks or row.cells[column] is not None)
        ]
        if not given:
            return False, None
        first = given[0].cells[column]
        for row in given[1:]:
            if row.differs(column, first):
                self.problem(
                    row,
                    column,
                    row.cells[column],
                    f"{show(first)}, as in row {given[0].number}",
                    "The rows of one cone must agree.",
                )
                return False, None
        return True, first

    def complete(
        self, row: SheetRow, wanted: Row, typed: Collection[str], *, off_grid: bool
    ) -> Row | None:
        """Check a recipe of which some settings were typed; None, its problems noted, if bad."""
        given = {name: value for name, value in wanted.items() if value is not None}
        try:
            recipe = self._space.complete(given, off_grid=off_grid)
            refuse_slips(self.plan, {name: recipe[name] for name in typed if name in recipe})
        except RecipeError as error:
            for one in error.problems:
                if isinstance(one, Problem):
                    where = f"row {row.number}, {one.where}"
                    self.problems.append(Problem(where, one.found, one.expected, one.remedy))
                else:
                    self.problem(row, "", str(one), "a recipe that fits the plan")
            return None
        for remark in recipe_remarks(self.plan, self._space, recipe, typed):
            self.notes.append(f"row {row.number}: {remark}")
        return recipe

    def metrics(self, row: SheetRow) -> dict[str, float]:
        """Give the metrics that a row has values for."""
        return {
            name: row.cells[name] for name in self.plan.metrics if row.cells.get(name) is not None
        }

    def new_sitting(self, row: SheetRow, cone: int | None, known_mass: float | None) -> Sitting:
        """Make a measurement of a row; a mass that is known already is left out."""
        readings: dict[str, float | None] = {}
        for name, value in self.metrics(row).items():
            if name not in self.masses or known_mass is None or row.differs(name, known_mass):
                readings[name] = value
                self.change(row, cone, name, None, value)
        fields: Row = {"session": row.cells.get("session") or "imported"}
        for name in CIRCUMSTANCES:
            if row.cells.get(name) is not None:
                fields[name] = row.cells[name]
        for name, value in fields.items():
            self.change(row, cone, name, None, value)
        return Sitting(None, fields, readings)

    def reason(self, row: SheetRow) -> str:
        """Give the reason of a failure where the column for it says nothing."""
        return row.cells.get("note") or "so recorded in a spreadsheet"

    def stray(self, row: SheetRow) -> None:
        """Refuse circumstances of a measurement that has no value."""
        for name in ("session", *CIRCUMSTANCES):
            if row.cells.get(name) is not None:
                self.problem(row, name, row.cells[name], "a blank cell, or a metric in this row")

    def is_sitting(self, row: SheetRow, status: str | None) -> bool:
        """Tell a measurement from a row that gives at most the cone's mass."""
        metrics = self.metrics(row)
        return bool(set(metrics) - self.masses) or bool(metrics and status == "measured")
