"""Rows of a spreadsheet that bring a new cone."""

from __future__ import annotations

from experiments.exchange.findings import Findings
from experiments.exchange.preview import ConeEdit
from experiments.exchange.rows import SheetRow

__all__ = ["NewCones"]


class NewCones:
    """Turns rows into new cones.

    Parameters
    ----------
    findings : Findings
        Collects what is found.
    """

    def __init__(self, findings: Findings) -> None:
        self._findings = findings

    def take(self, number: int | None, rows: list[SheetRow]) -> None:
        """Make one new cone of its rows; its number may be open."""
        row = rows[0]
        for name in ("measurement", "version"):
            if row.cells.get(name) is not None:
                self._findings.problem(
                    row,
                    "cone",
                    number,
                    "a cone of the table: this row was exported, but its cone is no more",
                    "Export the table again; leave the cone blank for a new one.",
                )
                return
        before = len(self._findings.problems)
        edit = ConeEdit(number, new=True)
        said = {
            name: self._findings.agreed(rows, name, blanks=False)[1]
            for name in ("status", "plate", *self._findings.plan.variables)
        }
        values = {name: said[name] for name in ("status", "plate")}
        wanted = {name: said[name] for name in self._findings.plan.variables}
        sitting_rows = [one for one in rows if self._findings.is_sitting(one, values["status"])]
        status = values["status"] or ("measured" if sitting_rows else "printed")
        edit.recipe = self._findings.complete(
            row, wanted, list(wanted), off_grid=status != "planned"
        )
        self._new_status(edit, row, status, bool(sitting_rows))
        if len(self._findings.problems) > before:
            return
        for name, value in {**values, "status": status, **(edit.recipe or {})}.items():
            if value is not None:
                self._findings.change(row, number, name, None, value)
        if values["plate"] is not None:
            edit.fields["plate"] = values["plate"]
        for one in rows:
            self._new_row(edit, one, one in sitting_rows)
        self._findings.edits.append(edit)

    def _new_status(self, edit: ConeEdit, row: SheetRow, status: str, measured: bool) -> None:
        if measured and status in ("planned", "failed"):
            self._findings.problem(row, "status", status, "measured, since metrics are given")
        if status == "measured" and not measured:
            self._findings.problem(row, "status", status, "printed, since no metric is given")
        edit.status = "measured" if measured and status == "printed" else status
        if status in ("failed", "set aside"):
            edit.why = row.cells.get("note") or "so recorded in a spreadsheet"

    def _new_row(self, edit: ConeEdit, row: SheetRow, measured: bool) -> None:
        note = row.cells.get("note")
        if note is not None:
            self._findings.change(row, edit.cone, "note", None, note)
        if measured:
            sitting = self._findings.new_sitting(row, edit.cone, None)
            sitting.fields["note"] = note or ""
            edit.sittings.append(sitting)
            return
        self._findings.stray(row)
        if note is not None:
            edit.fields["note"] = note
        for name, value in self._findings.metrics(row).items():
            edit.fields["mass_g"] = value
            self._findings.change(row, edit.cone, name, None, value)
