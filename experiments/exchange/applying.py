"""Taking a previewed spreadsheet in, as one act."""

from __future__ import annotations

from experiments import acts
from experiments.errors import ExchangeError, Problem
from experiments.exchange.preview import ConeEdit, Preview
from experiments.ledger import Ledger
from experiments.plan import Plan
from experiments.store import Writer

__all__ = ["apply"]


def apply(ledger: Ledger, preview: Preview, *, act: str = "import") -> str:
    """Take a spreadsheet in as one act, which one `undo` takes back.

    Parameters
    ----------
    ledger : Ledger
        The experiment.
    preview : Preview
        From `preview_csv`.
    act : {"import", "edit"}
        What the history calls it.

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
    if act == "import":
        ledger.keep_copy(act)
    with ledger.act(act, arguments) as written:
        for edit in preview.edits:
            _check_fresh(written.writer, edit)
        for edit in preview.edits:
            _apply_edit(written.writer, plan, edit)
        written.summary = f"{act} of {preview.path.name}: {preview.headline}"
    return written.summary


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
                given=sitting.fields,
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
        minutes=edit.fields.get("minutes"),
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
