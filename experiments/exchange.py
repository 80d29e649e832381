"""The table to a spreadsheet and back: export, preview, apply.

Rows match by cone number and measurement id. A column that is missing changes nothing; a blank
cell clears what may be empty. The column ``version`` holds the number of the last act that
touched the cone: when the cone was changed since the export, its edits are refused.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from experiments import acts
from experiments.errors import ExchangeError, Problem
from experiments.ledger import Ledger
from experiments.plan import Plan
from experiments.sheet_changes import ConeEdit, Preview, compare
from experiments.sheet_rows import columns_of, typed_rows
from experiments.sheets import cell_text, read_sheet, write_sheet
from experiments.store import Writer
from experiments.trials import is_mass

__all__ = ["Preview", "apply", "export_csv", "preview_csv"]


def export_csv(
    ledger: Ledger, path: str | Path, *, delimiter: str | None = None, decimal: str = "."
) -> Path:
    """Write the table as a CSV file, one row a measurement.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    path : path
        The file; an older one is replaced.
    delimiter : {",", ";"}, optional
        What separates the cells; a semicolon where the decimal mark is a comma.
    decimal : {".", ","}
        The decimal mark.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    ExchangeError
        For another delimiter or decimal mark, or if the file cannot be written.
    """
    delimiter = delimiter or (";" if decimal == "," else ",")
    if delimiter not in (",", ";") or decimal not in (".", ","):
        raise ExchangeError(
            Problem(
                "export", f"delimiter {delimiter!r}, decimal {decimal!r}", "',' ';' and '.' ','"
            )
        )
    plan = ledger.plan
    names = columns_of(plan)
    frame = ledger.wide_table()
    unmeasured = frame["measurement"].isna()
    for name, metric in plan.metrics.items():
        if is_mass(metric):
            frame[name] = frame[name].where(~unmeasured, frame["mass_g"])
    # Whole columns at once: object arrays hold None for what is missing.
    columns = [frame[name].astype(object).where(frame[name].notna(), None) for name in names]
    rows = zip(
        *([cell_text(value, decimal) for value in column] for column in columns), strict=True
    )
    path = Path(path)
    write_sheet(path, [names, *rows], delimiter)
    return path


def preview_csv(ledger: Ledger, path: str | Path) -> Preview:
    """Show what taking a spreadsheet in would change; nothing is changed.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    path : path
        A CSV file: comma, semicolon or tab between cells; decimal point or comma; columns in
        any order, further columns are reported and left alone. Rows without a cone number
        become new cones.

    Returns
    -------
    Preview
        Every change and every problem.

    Raises
    ------
    ExchangeError
        If the file cannot be read as a table at all.
    """
    path = Path(path)
    plan = ledger.plan
    sheet = read_sheet(path, columns_of(plan))
    rows = typed_rows(sheet, plan, path.name)
    digest = hashlib.sha256(sheet.content).hexdigest()
    return compare(ledger, rows, path, digest)


def apply(ledger: Ledger, preview: Preview) -> str:
    """Take a spreadsheet in as one act, which one `undo` takes back.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    preview : Preview
        From `preview_csv`.

    Returns
    -------
    str
        What was done, in a few words.

    Raises
    ------
    ExchangeError
        If the preview has problems, or the table or the plan was changed since.
    """
    if preview.problems:
        raise ExchangeError(*preview.problems)
    if not preview.changes:
        return f"{preview.path.name}: nothing to change"
    plan = ledger.plan
    if plan.digest != preview.plan:
        raise _stale("another plan")
    arguments = {
        "file": preview.path.name,
        "sha256": preview.digest,
        "changes": [change.record() for change in preview.changes],
    }
    with ledger.act("import", arguments) as act:
        for edit in preview.edits:
            _check_fresh(act.writer, edit)
        for edit in preview.edits:
            _apply_edit(act.writer, plan, edit)
        act.summary = f"import of {preview.path.name}: {preview.headline}"
    return act.summary


def _stale(found: str) -> ExchangeError:
    return ExchangeError(
        Problem("import", found, "the state of the preview", "Preview the file again.")
    )


def _check_fresh(writer: Writer, edit: ConeEdit) -> None:
    if edit.cone is None:
        return
    row = writer.one("SELECT version FROM cones WHERE id = ?", (edit.cone,))
    if (row[0] if row else None) != edit.version:
        raise _stale(f"cone {edit.cone} changed since")


def _apply_edit(writer: Writer, plan: Plan, edit: ConeEdit) -> None:
    """Write the edits of one cone, in an order that its states allow."""
    cone = _new_cone(writer, edit) if edit.new else _old_cone(writer, edit)
    for sitting in edit.sittings:
        if sitting.id is None:
            acts.measure_cone(
                writer,
                plan,
                cone,
                session=sitting.fields["session"],
                curves=(),
                values=sitting.readings,
                by_hand=(),
                cautions=(),
                age_days=sitting.fields.get("age_days"),
                light_hours=sitting.fields.get("light_hours"),
                note=sitting.fields.get("note") or "",
            )
        else:
            acts.edit_measurement(writer, sitting.id, sitting.fields, sitting.readings)
    if edit.status == "set aside":
        acts.put_aside(writer, cone, why=edit.why)
    writer.update("cones", cone, version=writer.act)


def _new_cone(writer: Writer, edit: ConeEdit) -> int:
    status = edit.status if edit.status in ("planned", "failed") else "printed"
    return acts.add_cone(
        writer,
        edit.recipe or {},
        status=status,
        origin="imported",
        number=edit.cone,
        plate=edit.fields.get("plate"),
        mass=edit.fields.get("mass_g"),
        why=edit.why,
        note=edit.fields.get("note") or "",
    )


def _old_cone(writer: Writer, edit: ConeEdit) -> int:
    assert edit.cone is not None
    if edit.recipe is not None:
        acts.store_settings(writer, edit.cone, edit.recipe)
    if edit.fields:
        writer.update("cones", edit.cone, **edit.fields)
    if edit.was == "set aside" and edit.status is not None:
        acts.put_back(writer, edit.cone)
    elif edit.status == "printed" or (edit.status == "measured" and edit.was == "planned"):
        acts.print_cone(writer, edit.cone, None, mass=None, minutes=None, note="")
    elif edit.status == "failed":
        acts.fail(writer, edit.cone, why=edit.why)
    return edit.cone
