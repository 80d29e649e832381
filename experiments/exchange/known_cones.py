"""Rows of a spreadsheet that belong to a cone of the table."""

from __future__ import annotations

from collections.abc import Mapping

from experiments.circumstances import CIRCUMSTANCES
from experiments.exchange.findings import Findings
from experiments.exchange.mangled import same_day
from experiments.exchange.merging import merged
from experiments.exchange.preview import ConeEdit, Row, Sitting
from experiments.exchange.rows import SheetRow
from experiments.ledger import Ledger
from experiments.reading import state_before
from experiments.records import Cone
from experiments.trials import WEIGHED

__all__ = ["KnownCones"]

_STEPS = {
    ("planned", "printed"),
    ("planned", "failed"),
    ("printed", "failed"),
    ("planned", "measured"),
    ("printed", "measured"),
}
"""Status edits that a sheet may make; setting aside and putting back come on top."""

_REASONS = {"failed": "failure", "set aside": "aside"}
"""Where the store keeps why a cone is in a state."""

Tables = Mapping[int, list[Row]]


class KnownCones:
    """Compares rows with the cones that they belong to.

    Parameters
    ----------
    findings : Findings
        Collects what is found.
    ledger : Ledger
        The experiment, inside a snapshot.
    now, base : dict of int to list of dict
        The table's rows by cone: as they are, and as they were when the sheet was exported.
    """

    def __init__(self, findings: Findings, ledger: Ledger, now: Tables, base: Tables) -> None:
        self._findings, self._ledger, self._now, self._base = findings, ledger, now, base
        self._cones = {cone.number: cone for cone in ledger.cones()}
        self._computed = {one.id for one in ledger.measurements() if one.files}

    def __contains__(self, number: object) -> bool:
        return number in self._cones

    def take(self, number: int, rows: list[SheetRow]) -> None:
        """Compare the rows of one cone with the table."""
        cone, now = self._cones[number], self._now[number]
        if any(row.cells.get("version") not in (None, now[0]["version"]) for row in rows):
            rows = merged(self._findings, rows, now, self._base.get(number, []))
        if not rows:
            return
        changes = len(self._findings.changes)
        edit = ConeEdit(number, new=False, was=cone.status, version=now[0]["version"])
        targets = self._targets(rows, now)
        if targets is None:
            return
        status = self._cone_cells(edit, rows, cone, now[0])
        for row, target in targets:
            if target is not None:
                self._old_sitting(edit, row, target, rows)
            else:
                self._open_row(edit, row, now, status)
        self._settle_status(edit, rows[0], cone, status)
        self._settle_why(edit, rows, cone, now[0]["why"])
        if len(self._findings.changes) == changes:
            return
        if all(row.cells.get("version") is None for row in rows):
            self._findings.notes.append(
                f"cone {number}: no version, so a later change would go unnoticed"
            )
        self._findings.edits.append(edit)

    def _cone_cells(self, edit: ConeEdit, rows: list[SheetRow], cone: Cone, now: Row) -> str:
        """Compare what belongs to the cone itself; gives the status that is wanted."""
        row = rows[0]
        given, plate = self._findings.agreed(rows, "plate")
        if given and row.differs("plate", now["plate"]):
            edit.fields["plate"] = plate
            self._findings.change(row, cone.number, "plate", now["plate"], plate)
        given, status = self._findings.agreed(rows, "status")
        if given and status is None:
            self._findings.problem(row, "status", None, "the state of the cone")
        status = status or cone.status
        given, minutes = self._findings.agreed(rows, "print_minutes")
        if given and row.differs("print_minutes", now["print_minutes"]):
            edit.fields["minutes"] = minutes
            self._findings.change(row, cone.number, "print_minutes", now["print_minutes"], minutes)
            if status == "planned":
                self._findings.problem(
                    row, "print_minutes", minutes, "a blank cell, as it is planned"
                )
        wanted, moved = dict(cone.settings), list[str]()
        for name in self._findings.plan.variables:
            given, value = self._findings.agreed(rows, name)
            if given and row.differs(name, now[name]):
                wanted[name] = value
                moved.append(name)
                self._findings.change(row, cone.number, name, now[name], value)
        if moved:
            edit.recipe = self._findings.complete(row, wanted, moved, off_grid=status != "planned")
        return str(status)

    def _targets(
        self, rows: list[SheetRow], now: list[Row]
    ) -> list[tuple[SheetRow, Row | None]] | None:
        """Find the measurement that each row means; None for one that is not measured."""
        measured = {one["measurement"]: one for one in now if one["measurement"] is not None}
        found: list[tuple[SheetRow, Row | None]] = []
        for row in rows:
            if "measurement" in row.cells:
                key = row.cells["measurement"]
                wrong = key is not None and key not in measured
                wanted = f"a measurement of cone {now[0]['cone']}"
                likely = [measured[key]] if key in measured else []
            else:
                key, likely = "no such column", self._likely(row, list(measured.values()))
                wrong = len(likely) > 1
                wanted = f"it, since cone {now[0]['cone']} was measured more than once"
            if wrong:
                self._findings.problem(row, "measurement", key, wanted, "Export the table again.")
                return None
            found.append((row, likely[0] if likely else None))
        keys = [one["measurement"] for _, one in found if one is not None]
        for row, one in found:
            if one is not None and keys.count(one["measurement"]) > 1:
                self._findings.problem(
                    row, "measurement", one["measurement"], "each measurement once"
                )
                return None
        return found

    def _likely(self, row: SheetRow, measured: list[Row]) -> list[Row]:
        """Find the measurements that a row without an id may mean."""
        told = ("session", *CIRCUMSTANCES, "note", *self._findings.plan.metrics)
        if not any(name in row.cells for name in told):
            return []  # it speaks of the cone alone
        named = row.cells.get("session")
        return [one for one in measured if named in (None, one["session"])]

    def _old_sitting(self, edit: ConeEdit, row: SheetRow, now: Row, rows: list[SheetRow]) -> None:
        sitting = Sitting(now["measurement"])
        cone: int = now["cone"]
        for name in ("session", *CIRCUMSTANCES, "note"):
            if not row.differs(name, now[name]):
                continue
            value = row.cells[name]
            if name == "session" and same_day(str(value), now[name]):
                continue
            if name == "session" and value is None:
                self._findings.problem(row, name, None, "the name of the session")
                continue
            sitting.fields[name] = "" if value is None and name == "note" else value
            self._findings.change(row, cone, name, now[name] or None, value)
        for name, metric in self._findings.plan.metrics.items():
            if not row.differs(name, now[name]):
                continue
            if metric.source != "hand" and row.rounds(name, now[name]):
                self._findings.rounded.setdefault(name, []).append(row.number)
                continue
            value = row.cells[name]
            sitting.readings[name] = value
            hand = metric.source != "hand" and now["measurement"] in self._computed
            self._findings.change(row, cone, name, now[name], value, by_hand=hand)
            if value is None and name in self._findings.masses and now[WEIGHED] is not None:
                self._clear_mass(edit, row, name, rows)
        if sitting.fields or sitting.readings:
            edit.sittings.append(sitting)

    def _clear_mass(self, edit: ConeEdit, row: SheetRow, name: str, rows: list[SheetRow]) -> None:
        # The mass of the cone stands behind all its measurements, so all of them must say so.
        measured = [one for one in self._now[edit.cone or 0] if one["measurement"] is not None]
        blank = [one for one in rows if one.cells.get(name, 0.0) is None]
        if len(blank) < len(measured):
            self._findings.problem(row, name, None, "the same in all rows of the cone")
        edit.fields["mass_g"] = None

    def _open_row(self, edit: ConeEdit, row: SheetRow, now: list[Row], status: str) -> None:
        """Compare a row that is no measurement yet."""
        cone, current = now[0]["cone"], now[0]
        metrics, unmeasured = self._findings.metrics(row), current["measurement"] is None
        note = row.cells.get("note")
        if self._findings.is_sitting(row, status) if unmeasured else bool(metrics):
            if status not in ("printed", "measured"):
                self._findings.problem(
                    row, "status", status, "measured, since metrics are given in this row"
                )
            sitting = self._findings.new_sitting(row, cone, current[WEIGHED])
            if note is not None and not (unmeasured and note == current["note"]):
                sitting.fields["note"] = note
                self._findings.change(row, cone, "note", None, note)
            edit.sittings.append(sitting)
            return
        self._findings.stray(row)
        if not unmeasured:
            return
        if row.differs("note", current["note"]):
            edit.fields["note"] = note or ""
            self._findings.change(row, cone, "note", current["note"] or None, note)
        for name in self._findings.masses:
            if row.differs(name, current[WEIGHED]):
                edit.fields["mass_g"] = row.cells[name]
                self._findings.change(row, cone, name, current[WEIGHED], row.cells[name])

    def _settle_status(self, edit: ConeEdit, row: SheetRow, cone: Cone, wanted: str) -> None:
        fresh = any(one.id is None for one in edit.sittings)
        if fresh and wanted == "printed":
            wanted = "measured"
        if wanted == cone.status:
            return
        back = self._state_before(cone.number)
        allowed = (
            wanted == "set aside"
            or ((cone.status, wanted) in _STEPS and (wanted == "measured") == fresh)
            or (cone.status == "set aside" and wanted == back and not fresh)
        )
        if not allowed:
            ways = [new for old, new in sorted(_STEPS) if old == cone.status and new != "measured"]
            ways += [back] if cone.status == "set aside" else ["set aside"]
            if cone.status in ("planned", "printed"):
                ways.append("measured (with a metric in its row)")
            self._findings.problem(row, "status", wanted, f"{cone.status}, {', '.join(ways)}")
            return
        edit.status = wanted
        self._findings.change(row, cone.number, "status", cone.status, wanted)

    def _settle_why(self, edit: ConeEdit, rows: list[SheetRow], cone: Cone, now: str) -> None:
        """Find the reason of a failure or of setting aside, corrected or new."""
        row, status = rows[0], edit.status or cone.status
        given, typed = self._findings.agreed(rows, "why")
        edited = given and row.differs("why", now)
        after = typed if edited else now
        if status not in _REASONS:
            if edited and typed is not None:
                states = " or ".join(_REASONS)
                self._findings.problem(row, "why", typed, f"a blank cell, or the status {states}")
            after = ""
        elif edit.status is None and edited:
            if typed is None:
                self._findings.problem(row, "why", None, f"why it is {status}")
            edit.fields[_REASONS[status]] = typed
        elif cone.status == "set aside" and edit.status == "failed":
            after = self._failure(cone.number)
            if edited and typed is not None:
                after = edit.fields["failure"] = typed
        elif edit.status is not None:
            after = edit.why = (typed if edited else None) or self._findings.reason(row)
        if after != now:
            self._findings.change(row, cone.number, "why", now or None, after or None)

    def _failure(self, cone: int) -> str:
        with self._ledger.snapshot() as connection:
            sql = "SELECT failure FROM cones WHERE id = ?"
            return str(connection.execute(sql, (cone,)).fetchone()[0])

    def _state_before(self, cone: int) -> str:
        with self._ledger.snapshot() as connection:
            return state_before(connection, cone)
