"""An edited spreadsheet against the table as it is now."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from experiments.agreement import cones_text
from experiments.circumstances import climate_remarks
from experiments.errors import ExchangeError, Problem
from experiments.exchange.cells import RawSheet, read_sheet, sheet_in
from experiments.exchange.findings import Findings
from experiments.exchange.known_cones import KnownCones
from experiments.exchange.new_cones import NewCones
from experiments.exchange.preview import ConeEdit, Preview, Row
from experiments.exchange.rows import SheetRow, TypedSheet, columns_of, typed_rows
from experiments.ledger import Ledger
from experiments.slips import session_remark

__all__ = ["by_cone", "preview_contents", "preview_csv", "preview_sheet"]


def preview_csv(ledger: Ledger, path: str | Path) -> Preview:
    """Show what taking a spreadsheet in would change; nothing is changed.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    path : path
        A CSV file (comma, semicolon or tab between cells; decimal point or comma) or a workbook
        (.xlsx); columns in any order, further columns are reported and left alone. Rows without
        a cone number become new cones.

    Returns
    -------
    Preview
        Every change and every problem.

    Raises
    ------
    ExchangeError
        If the file cannot be read as a table at all.
    LedgerError
        If values were stored under another definition of their metric.
    """
    ledger.refuse_stale()
    path = Path(path)
    return preview_sheet(ledger, read_sheet(path, columns_of(ledger.plan)), path)


def preview_contents(ledger: Ledger, name: str, content: bytes) -> Preview:
    """As `preview_csv`, of a file that was sent; `name` only names it."""
    ledger.refuse_stale()
    path = Path(name)
    return preview_sheet(ledger, sheet_in(content, path, columns_of(ledger.plan)), path)


def preview_sheet(ledger: Ledger, raw: RawSheet, path: Path) -> Preview:
    """As `preview_csv`, of cells that were read already; `path` only names them."""
    plan = ledger.plan
    name = f"{path.name}, sheet {raw.sheet}" if raw.sheet else path.name
    sheet = typed_rows(raw, plan, name)
    _refuse_nameless(sheet, name)
    digest = hashlib.sha256(raw.content).hexdigest()
    base = _exported(ledger, sheet)
    with ledger.snapshot():
        findings = _compare(ledger, sheet, base)
        findings.notes += _left_out(ledger, sheet)
        findings.notes += [*_odd_sessions(ledger, findings), *_odd_climates(findings)]
        findings.notes += _rounded(findings)
        problems = [*sheet.problems, *findings.problems]
        if any(_adds(edit) for edit in findings.edits):
            problems += _seen_before(ledger, digest, path)
    return Preview(
        path=path,
        changes=tuple(findings.changes),
        problems=tuple(_in_sheet(raw, one) for one in problems),
        notes=(*sheet.notes, *findings.notes),
        new_cones=sum(edit.new for edit in findings.edits),
        new_measurements=sum(one.id is None for edit in findings.edits for one in edit.sittings),
        # Cones with a number come first, so that the others get numbers after them.
        edits=tuple(sorted(findings.edits, key=lambda edit: (edit.new, edit.cone is None))),
        plan=plan.digest,
        digest=digest,
    )


def _in_sheet(raw: RawSheet, problem: Problem) -> Problem:
    if not raw.sheet or not problem.where.startswith("row "):
        return problem
    return replace(problem, where=f"sheet {raw.sheet}, {problem.where}")


def _rounded(findings: Findings) -> list[str]:
    return [
        f"{name}: rounded in row{'s' * (len(rows) > 1)} {', '.join(map(str, rows[:5]))}"
        f"{' and more' * (len(rows) > 5)}, so what is stored stands"
        for name, rows in findings.rounded.items()
    ]


def _refuse_nameless(sheet: TypedSheet, file: str) -> None:
    """Refuse exported rows of which nothing tells the cone."""
    exported = any(
        row.cells.get(name) for row in sheet.rows for name in ("measurement", "version")
    )
    if exported and "cone" not in sheet.columns:
        raise ExchangeError(
            Problem(
                f"{file}, row 1",
                "no column cone",
                "the column cone, by which exported rows are matched",
                "Put it back, or export the table again and repeat the edit.",
            )
        )


def _compare(ledger: Ledger, sheet: TypedSheet, base: dict[int, list[Row]]) -> Findings:
    findings = Findings(ledger.plan, ledger.space)
    known = KnownCones(findings, ledger, by_cone(ledger.wide_table()), base)
    new = NewCones(findings)
    groups: dict[tuple[str, int], list[SheetRow]] = {}
    for row in sheet.rows:
        if "cone" in row.texts and "cone" not in row.cells:
            continue  # its number could not be read, which is a problem already
        number = row.cells.get("cone")
        groups.setdefault(("row", row.number) if number is None else ("cone", number), []).append(
            row
        )
    for (kind, number), rows in groups.items():
        if kind == "row":
            new.take(None, rows)
        elif number in known:
            known.take(number, rows)
        else:
            new.take(number, rows)
    return findings


def _left_out(ledger: Ledger, sheet: TypedSheet) -> list[str]:
    """Say what becomes of columns and rows that the sheet does not have: nothing."""
    table = ledger.wide_table()
    given = {row.cells.get("cone") for row in sheet.rows}
    known = table["cone"].isin(given)
    if not known.any():
        return []  # it brings new cones only
    notes = []
    columns = [*ledger.plan.variables, *ledger.plan.metrics]
    names = [name for name in columns if name not in sheet.columns]
    if names:
        notes.append(f"not in the sheet, so unchanged: {', '.join(names)}")
    gone = table["cone"][~known].unique().tolist()
    if gone:
        notes.append(
            f"without a row in the sheet, so unchanged: {cones_text(gone)}. Taking a sheet in "
            "never removes a cone; one that is set aside counts no longer"
        )
    keys = {row.cells.get("measurement") for row in sheet.rows}
    if "measurement" in sheet.columns:
        lost = known & table["measurement"].notna() & ~table["measurement"].isin(keys)
        if lost.any():
            cones = cones_text(table["cone"][lost].unique().tolist())
            notes.append(f"measurements without a row in the sheet, so unchanged: of {cones}")
    return notes


def _odd_sessions(ledger: Ledger, findings: Findings) -> list[str]:
    """Say which new sessions are nearly called as others."""
    known = list(ledger.sessions()["session"])
    notes = []
    for name in (one.fields.get("session") for edit in findings.edits for one in edit.sittings):
        if name is not None and name not in known:
            remark = session_remark(name, known)
            notes += [f"{remark}; undo takes the import back"] if remark else []
            known.append(name)
    return notes


def _odd_climates(findings: Findings) -> list[str]:
    """Say which temperatures and humidities that were typed are odd, each once."""
    typed = [one.fields for edit in findings.edits for one in edit.sittings]
    return list(dict.fromkeys(remark for one in typed for remark in climate_remarks(one)))


def _exported(ledger: Ledger, sheet: TypedSheet) -> dict[int, list[Row]]:
    """Give each cone that was changed since its row was exported as it was at the export.

    A cone is missing where its rows bear a version that it never had, or two.
    """
    now = dict(ledger.wide_table()[["cone", "version"]].itertuples(index=False, name=None))
    seen: dict[int, set[int]] = {}
    for row in sheet.rows:
        if row.cells.get("cone") in now and row.cells.get("version") is not None:
            seen.setdefault(row.cells["cone"], set()).add(row.cells["version"])
    wanted = {
        cone: next(iter(versions))
        for cone, versions in seen.items()
        if len(versions) == 1 and versions != {now[cone]}
    }
    base: dict[int, list[Row]] = {}
    last = int(ledger.history(1)["id"].max()) if wanted else 0
    # The newest version of the sheet tells its day, as a rule; rows of several exports do not.
    newest = max((version for versions in seen.values() for version in versions), default=0)
    for act in sorted({newest, *wanted.values()}, reverse=True):
        if wanted and act <= last:
            then = by_cone(ledger.wide_table_at(act))
            found = [one for one in wanted if one in then and _version(then[one]) == wanted[one]]
            base |= {cone: then[cone] for cone in found if wanted.pop(cone)}
    return base


def _version(rows: list[Row]) -> int:
    return int(rows[0]["version"])


def _adds(edit: ConeEdit) -> bool:
    return edit.new or any(one.id is None for one in edit.sittings)


def _seen_before(ledger: Ledger, digest: str, path: Path) -> list[Problem]:
    """Refuse to add the same rows twice."""
    for act in ledger.history().to_dict("records"):
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


def by_cone(frame: pd.DataFrame) -> dict[int, list[Row]]:
    """Group the rows of `View.wide_table` by cone, as plain Python values."""
    rows: dict[int, list[Row]] = {}
    for row in frame.to_dict("records"):
        plain = {str(name): _none(value) for name, value in row.items()}
        rows.setdefault(plain["cone"], []).append(plain)
    return rows


def _none(value: Any) -> Any:
    """NaN and pandas' NA become None; numpy scalars become Python's."""
    if pd.isna(value):
        return None
    return value.item() if hasattr(value, "item") else value
