"""Rows of a spreadsheet that bring a new cone."""

from __future__ import annotations

from experiments.exchange.findings import Findings
from experiments.exchange.preview import ConeEdit, Row
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
                expected = "the number of its cone: this row was exported"
                if number is not None:
                    expected = (
                        "a cone of the table: this row was exported, but its cone is no more"
                    )
                self._findings.problem(
                    row,
                    "cone",
                    number,
                    expected,
                    "Export the table again; leave the cone blank for a new one.",
                )
                return
        before = len(self._findings.problems)
        edit = ConeEdit(number, new=True)
        said = {
            name: self._findings.agreed(rows, name, blanks=False)[1]
            for name in ("status", "plate", "print_minutes", "why", *self._findings.plan.variables)
        }
        values = {name: said[name] for name in ("status", "plate", "print_minutes", "why")}
        wanted = {name: said[name] for name in self._findings.plan.variables}
        sitting_rows = [one for one in rows if self._findings.is_sitting(one, values["status"])]
        status = values["status"] or ("measured" if sitting_rows else "printed")
        edit.recipe = self._findings.complete(
            row, wanted, list(wanted), off_grid=status != "planned"
        )
        self._new_status(edit, row, status, bool(sitting_rows))
        self._check_records(edit, row, values)
        if len(self._findings.problems) > before:
            return
        for name, value in {**values, "status": status, **(edit.recipe or {})}.items():
            if value is not None:
                self._findings.change(row, number, name, None, value)
        for name, field in (("plate", "plate"), ("print_minutes", "minutes")):
            if values[name] is not None:
                edit.fields[field] = values[name]
        for one in rows:
            self._new_row(edit, one, one in sitting_rows)
        self._findings.edits.append(edit)

    def _new_status(self, edit: ConeEdit, row: SheetRow, status: str, measured: bool) -> None:
        if measured and status in ("planned", "failed"):
            self._findings.problem(row, "status", status, "measured, since metrics are given")
        if status == "measured" and not measured:
            self._findings.problem(row, "status", status, "printed, since no metric is given")
        edit.status = "measured" if measured and status == "printed" else status

    def _check_records(self, edit: ConeEdit, row: SheetRow, values: Row) -> None:
        """Take the reason, and refuse what does not go with the status."""
        if edit.status in ("failed", "set aside"):
            edit.why = values["why"] or self._findings.reason(row)
        elif values["why"] is not None:
            expected = "a blank cell, or the status failed or set aside"
            self._findings.problem(row, "why", values["why"], expected)
        if edit.status == "planned" and values["print_minutes"] is not None:
            expected = "a blank cell, as it is planned"
            self._findings.problem(row, "print_minutes", values["print_minutes"], expected)

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
