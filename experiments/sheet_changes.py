"""What an edited spreadsheet would change: row by row against the table as it is now."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from experiments.errors import Problem, RecipeError
from experiments.ledger import Ledger
from experiments.reading import state_before
from experiments.records import Cone
from experiments.sheet_rows import SheetRow, TypedSheet
from experiments.trials import is_mass

__all__ = ["Change", "ConeEdit", "Preview", "Sitting", "compare"]

Row = dict[str, Any]

_STEPS = {
    ("planned", "printed"),
    ("planned", "failed"),
    ("printed", "failed"),
    ("planned", "measured"),
    ("printed", "measured"),
}
"""Status edits that a sheet may make; setting aside and putting back come on top."""


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
        return f"{cone}, {self.column}: {_show(self.before)} → {_show(self.after)}{hand}"


def _show(value: Any) -> str:
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


def compare(ledger: Ledger, sheet: TypedSheet, path: Path, digest: str) -> Preview:
    """Compare a sheet with the table.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    sheet : TypedSheet
        The rows.
    path : Path
        The file, for messages.
    digest : str
        SHA-256 of the file.

    Returns
    -------
    Preview
        Every change and problem.
    """
    with ledger.snapshot():
        comparer = _Comparer(ledger, sheet)
        comparer.run()
        problems = [*sheet.problems, *comparer.problems]
        adds = [
            edit for edit in comparer.edits if edit.new or any(s.id is None for s in edit.sittings)
        ]
        problems += _seen_before(ledger, digest, path) if adds else []
    return Preview(
        path=path,
        changes=tuple(comparer.changes),
        problems=tuple(problems),
        notes=tuple([*sheet.notes, *comparer.notes]),
        new_cones=sum(edit.new for edit in comparer.edits),
        new_measurements=sum(s.id is None for edit in comparer.edits for s in edit.sittings),
        edits=tuple(sorted(comparer.edits, key=lambda edit: (edit.new, edit.cone is None))),
        plan=ledger.plan.digest,
        digest=digest,
    )


def _seen_before(ledger: Ledger, digest: str, path: Path) -> list[Problem]:
    history = ledger.history()
    for act in history.to_dict("records"):
        same = act["act"] == "import" and act["arguments"].get("sha256") == digest
        if same and not act["undone"]:
            return [
                Problem(
                    path.name,
                    f"a file that was taken in already ({act['at']})",
                    "one that adds nothing twice",
                    "Export the table again, or undo the earlier import first.",
                )
            ]
    return []


class _Comparer:
    """Collects changes, problems and edits, one group of rows (a cone) after the other."""

    def __init__(self, ledger: Ledger, sheet: TypedSheet) -> None:
        self.plan, self.space, self.sheet = ledger.plan, ledger.space, sheet
        self.changes: list[Change] = []
        self.problems: list[Problem] = []
        self.notes: list[str] = []
        self.edits: list[ConeEdit] = []
        self._cones = {cone.number: cone for cone in ledger.cones()}
        self._computed = {one.id for one in ledger.measurements() if one.files}
        self._now: dict[int, list[Row]] = {}
        for row in ledger.wide_table().to_dict("records"):
            plain = {str(name): _none(value) for name, value in row.items()}
            self._now.setdefault(plain["cone"], []).append(plain)
        self._ledger = ledger
        self._masses = {name for name, one in self.plan.metrics.items() if is_mass(one)}

    def run(self) -> None:
        groups: dict[Any, list[SheetRow]] = {}
        for row in self.sheet.rows:
            number = row.cells.get("cone")
            key = ("row", row.number) if number is None else ("cone", number)
            if "cone" in row.texts and "cone" not in row.cells:
                continue  # its number could not be read, which is a problem already
            groups.setdefault(key, []).append(row)
        for (kind, number), rows in groups.items():
            if kind == "cone" and number in self._cones:
                self._old_cone(number, rows)
            else:
                self._new_cone(number if kind == "cone" else None, rows)

    # Shared -----------------------------------------------------------------------------------

    def _problem(
        self, row: SheetRow, column: str, found: Any, wanted: str, remedy: str = ""
    ) -> None:
        where = f"row {row.number}, column {column}" if column else f"row {row.number}"
        self.problems.append(Problem(where, _show(found), wanted, remedy))

    def _agreed(self, rows: list[SheetRow], column: str) -> tuple[bool, Any]:
        """Whether the rows of one cone give a column, and the one value that they give."""
        given = [row for row in rows if column in row.cells]
        if not given:
            return False, None
        first = given[0].cells[column]
        for row in given[1:]:
            if row.differs(column, first):
                self._problem(
                    row,
                    column,
                    row.cells[column],
                    f"{_show(first)}, as in row {given[0].number}",
                    "The rows of one cone must agree.",
                )
                return False, None
        return True, first

    def _complete(self, row: SheetRow, wanted: Row, *, off_grid: bool) -> Row | None:
        given = {name: value for name, value in wanted.items() if value is not None}
        try:
            return self.space.complete(given, off_grid=off_grid)
        except RecipeError as error:
            for one in error.problems:
                if isinstance(one, Problem):
                    where = f"row {row.number}, {one.where}"
                    self.problems.append(Problem(where, one.found, one.expected, one.remedy))
                else:
                    self._problem(row, "", str(one), "a recipe that fits the plan")
            return None

    def _metrics(self, row: SheetRow) -> dict[str, float]:
        return {
            name: row.cells[name] for name in self.plan.metrics if row.cells.get(name) is not None
        }

    def _new_sitting(self, row: SheetRow, cone: int | None, known_mass: float | None) -> Sitting:
        readings: dict[str, float | None] = {}
        for name, value in self._metrics(row).items():
            if name not in self._masses or known_mass is None or row.differs(name, known_mass):
                readings[name] = value
                self.changes.append(Change(row.number, cone, name, None, value))
        fields: Row = {"session": row.cells.get("session") or "imported"}
        for name in ("age_days", "light_hours"):
            if row.cells.get(name) is not None:
                fields[name] = row.cells[name]
        for name, value in fields.items():
            self.changes.append(Change(row.number, cone, name, None, value))
        return Sitting(None, fields, readings)

    def _stray(self, row: SheetRow) -> None:
        """Refuse circumstances of a measurement that has no value."""
        for name in ("session", "age_days", "light_hours"):
            if row.cells.get(name) is not None:
                self._problem(row, name, row.cells[name], "a blank cell, or a metric in this row")

    # New cones --------------------------------------------------------------------------------

    def _new_cone(self, number: int | None, rows: list[SheetRow]) -> None:
        row = rows[0]
        for name in ("measurement", "version"):
            if row.cells.get(name) is not None:
                self._problem(
                    row,
                    "cone",
                    number,
                    "a cone of the table: this row was exported, but its cone is no more",
                    "Export the table again; leave the cone blank for a new one.",
                )
                return
        before = len(self.problems)
        edit = ConeEdit(number, new=True)
        values = {name: self._agreed(rows, name)[1] for name in ("status", "plate")}
        wanted = {name: self._agreed(rows, name)[1] for name in self.plan.variables}
        sitting_rows = [one for one in rows if self._is_sitting(one, values["status"])]
        status = values["status"] or ("measured" if sitting_rows else "printed")
        edit.recipe = self._complete(row, wanted, off_grid=status != "planned")
        self._new_status(edit, row, status, bool(sitting_rows))
        if len(self.problems) > before:
            return
        for name, value in {**values, "status": status, **(edit.recipe or {})}.items():
            if value is not None:
                self.changes.append(Change(row.number, number, name, None, value))
        if values["plate"] is not None:
            edit.fields["plate"] = values["plate"]
        for one in rows:
            self._new_row(edit, one, one in sitting_rows)
        self.edits.append(edit)

    def _is_sitting(self, row: SheetRow, status: str | None) -> bool:
        metrics = self._metrics(row)
        return bool(set(metrics) - self._masses) or bool(metrics and status == "measured")

    def _new_status(self, edit: ConeEdit, row: SheetRow, status: str, measured: bool) -> None:
        if measured and status in ("planned", "failed"):
            self._problem(row, "status", status, "measured, since metrics are given")
        if status == "measured" and not measured:
            self._problem(row, "status", status, "printed, since no metric is given")
        edit.status = "measured" if measured and status == "printed" else status
        if status in ("failed", "set aside"):
            edit.why = row.cells.get("note") or "so recorded in a spreadsheet"

    def _new_row(self, edit: ConeEdit, row: SheetRow, measured: bool) -> None:
        note = row.cells.get("note")
        if note is not None:
            self.changes.append(Change(row.number, edit.cone, "note", None, note))
        if measured:
            sitting = self._new_sitting(row, edit.cone, None)
            sitting.fields["note"] = note or ""
            edit.sittings.append(sitting)
            return
        self._stray(row)
        if note is not None:
            edit.fields["note"] = note
        for name, value in self._metrics(row).items():
            edit.fields["mass_g"] = value
            self.changes.append(Change(row.number, edit.cone, name, None, value))

    # Cones of the table -----------------------------------------------------------------------

    def _old_cone(self, number: int, rows: list[SheetRow]) -> None:
        cone, now = self._cones[number], self._now[number]
        changes = len(self.changes)
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
        if len(self.changes) == changes:
            return
        self._check_version(rows, number, now[0]["version"])
        self.edits.append(edit)

    def _cone_cells(self, edit: ConeEdit, rows: list[SheetRow], cone: Cone, now: Row) -> str:
        """Compare what belongs to the cone itself; gives the status that is wanted."""
        row = rows[0]
        given, plate = self._agreed(rows, "plate")
        if given and row.differs("plate", now["plate"]):
            edit.fields["plate"] = plate
            self._change(row, cone.number, "plate", now["plate"], plate)
        given, status = self._agreed(rows, "status")
        if given and status is None:
            self._problem(row, "status", None, "the state of the cone")
        status = status or cone.status
        wanted, moved = dict(cone.settings), False
        for name in self.plan.variables:
            given, value = self._agreed(rows, name)
            if given and row.differs(name, now[name]):
                wanted[name], moved = value, True
                self._change(row, cone.number, name, now[name], value)
        if moved:
            edit.recipe = self._complete(row, wanted, off_grid=status != "planned")
        return str(status)

    def _change(self, row: SheetRow, cone: int, column: str, before: Any, after: Any) -> None:
        self.changes.append(Change(row.number, cone, column, before, after))

    def _targets(
        self, rows: list[SheetRow], now: list[Row]
    ) -> list[tuple[SheetRow, Row | None]] | None:
        """Find the measurement that each row means; None for one that is not measured."""
        measured = {one["measurement"]: one for one in now if one["measurement"] is not None}
        found: list[tuple[SheetRow, Row | None]] = []
        for row in rows:
            if "measurement" in row.cells:
                key = row.cells["measurement"]
                if key is not None and key not in measured:
                    self._problem(
                        row, "measurement", key, f"a measurement of cone {now[0]['cone']}"
                    )
                    return None
                found.append((row, measured.get(key)))
                continue
            named = row.cells.get("session")
            likely = [one for one in measured.values() if named in (None, one["session"])]
            if len(likely) > 1:
                self._problem(
                    row,
                    "measurement",
                    "no such column",
                    f"it, since cone {now[0]['cone']} was measured more than once",
                    "Export the table again.",
                )
                return None
            found.append((row, likely[0] if likely else None))
        keys = [one["measurement"] for _, one in found if one is not None]
        for row, one in found:
            if one is not None and keys.count(one["measurement"]) > 1:
                self._problem(row, "measurement", one["measurement"], "each measurement once")
                return None
        return found

    def _old_sitting(self, edit: ConeEdit, row: SheetRow, now: Row, rows: list[SheetRow]) -> None:
        sitting = Sitting(now["measurement"])
        cone: int = now["cone"]
        for name in ("session", "age_days", "light_hours", "note"):
            if not row.differs(name, now[name]):
                continue
            value = row.cells[name]
            if name == "session" and value is None:
                self._problem(row, name, None, "the name of the session")
                continue
            sitting.fields[name] = "" if value is None and name == "note" else value
            self._change(row, cone, name, now[name] or None, value)
        for name, metric in self.plan.metrics.items():
            if not row.differs(name, now[name]):
                continue
            value = row.cells[name]
            sitting.readings[name] = value
            hand = metric.source != "hand" and now["measurement"] in self._computed
            self.changes.append(Change(row.number, cone, name, now[name], value, hand))
            if value is None and name in self._masses and now["mass_g"] is not None:
                self._clear_mass(edit, row, name, rows)
        if sitting.fields or sitting.readings:
            edit.sittings.append(sitting)

    def _clear_mass(self, edit: ConeEdit, row: SheetRow, name: str, rows: list[SheetRow]) -> None:
        # The mass of the cone stands behind all its measurements, so all of them must say so.
        measured = [one for one in self._now[edit.cone or 0] if one["measurement"] is not None]
        blank = [one for one in rows if one.cells.get(name, 0.0) is None]
        if len(blank) < len(measured):
            self._problem(row, name, None, "the same in all rows of the cone")
        edit.fields["mass_g"] = None

    def _open_row(self, edit: ConeEdit, row: SheetRow, now: list[Row], status: str) -> None:
        """Compare a row that is no measurement yet."""
        cone, current = now[0]["cone"], now[0]
        metrics, unmeasured = self._metrics(row), current["measurement"] is None
        note = row.cells.get("note")
        if self._is_sitting(row, status) if unmeasured else bool(metrics):
            if status not in ("printed", "measured"):
                self._problem(
                    row, "status", status, "measured, since metrics are given in this row"
                )
            sitting = self._new_sitting(row, cone, current["mass_g"])
            if note is not None and not (unmeasured and note == current["note"]):
                sitting.fields["note"] = note
                self._change(row, cone, "note", None, note)
            edit.sittings.append(sitting)
            return
        self._stray(row)
        if not unmeasured:
            return
        if row.differs("note", current["note"]):
            edit.fields["note"] = note or ""
            self._change(row, cone, "note", current["note"] or None, note)
        for name in self._masses:
            if row.differs(name, current["mass_g"]):
                edit.fields["mass_g"] = row.cells[name]
                self._change(row, cone, name, current["mass_g"], row.cells[name])

    def _settle_status(self, edit: ConeEdit, row: SheetRow, cone: Cone, wanted: str) -> None:
        fresh = any(one.id is None for one in edit.sittings)
        if fresh and wanted == "printed":
            wanted = "measured"
        if wanted == cone.status:
            return
        with self._ledger.snapshot() as connection:
            back = state_before(connection, cone.number)
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
            self._problem(row, "status", wanted, f"{cone.status}, {', '.join(ways)}")
            return
        edit.status = wanted
        if wanted in ("failed", "set aside"):
            edit.why = row.cells.get("note") or "so recorded in a spreadsheet"
        self._change(row, cone.number, "status", cone.status, wanted)

    def _check_version(self, rows: list[SheetRow], cone: int, version: int) -> None:
        blind = True
        for row in rows:
            seen = row.cells.get("version")
            blind = blind and seen is None
            if seen is not None and seen != version:
                self._problem(
                    row,
                    "version",
                    seen,
                    f"{version}: cone {cone} was changed after the export",
                    "Export the table again and repeat the edit.",
                )
        if blind:
            self.notes.append(f"cone {cone}: no version, so a later change would go unnoticed")


def _none(value: Any) -> Any:
    """NaN and pandas' NA become None; numpy scalars become Python's."""
    if pd.isna(value):
        return None
    return value.item() if hasattr(value, "item") else value
