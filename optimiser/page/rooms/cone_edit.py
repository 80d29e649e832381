"""Correcting the record of a cone: its settings, what was measured by hand, remarks."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import Response

from experiments.circumstances import CIRCUMSTANCES
from experiments.errors import ExperimentError, LedgerError, Problem
from experiments.exchange import ConeSheet, EditConflict, cone_sheet, edit_cone
from optimiser.page.acting import last_act
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.recipes import knobs_of

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["show", "take"]

OF_CONE = ("plate", "print_minutes", "why")


def show(
    call: Call, form: Form | None = None, sheet: ConeSheet | None = None, status: int = 200
) -> Response:
    """Show the record in fields; a number may be emptied where none is needed."""
    number = int(call.path("cone"))
    with call.desk.ledger() as ledger, ledger.snapshot():
        try:
            cone = ledger.cone(number)
        except LedgerError:
            raise HTTPException(404) from None
        plan, sheet = ledger.plan, sheet or cone_sheet(ledger, number)
        known = list(ledger.sessions()["session"])
    return call.page(
        "edit",
        status=status,
        cone=cone,
        form=form,
        sheet=sheet,
        knobs=knobs_of(plan, cone.settings),
        measured=[row["measurement"] for row in sheet.rows if row["measurement"]],
        circumstances=CIRCUMSTANCES,
        metrics=_by_hand(plan, sheet),
        sessions=known,
    )


def _by_hand(plan: Plan, sheet: ConeSheet) -> list[tuple[str, str, str]]:
    """Give name, label and unit of what may be typed: entered metrics, and the mass."""
    measured = bool(sheet.rows[0]["measurement"])
    return [
        (name, one.label, one.unit)
        for name, one in plan.metrics.items()
        if one.source == "hand" and (measured or one.measure == "mass_g" or name == "mass")
    ]


def take(call: Call, form: Form) -> Response:
    """Take the edited record in."""
    number, version = int(call.path("cone")), form.whole("version")
    rows = _rows(form)
    try:
        with call.desk.ledger() as ledger:
            text = edit_cone(ledger, number, version or 0, rows)
            act = last_act(ledger)
    except EditConflict as conflict:
        return _show_conflict(call, form, conflict)
    except ExperimentError as error:
        _blame(form, error)
        return show(call, form)
    if not text:
        return call.go(f"/cones/{number}", "Nothing was changed.")
    return call.go(f"/cones/{number}", f"{text[:1].upper()}{text[1:]}.", act=act)


def _rows(form: Form) -> list[dict[str, str]]:
    """Give the rows of the sheet: what belongs to the cone stands in each."""
    count = form.whole("rows") or 1
    of_cone = {
        name.removeprefix("cone-"): text
        for name, text in form.values.items()
        if name.startswith("cone-")
    }
    rows = []
    for place in range(min(count, 200)):
        own = {
            name.removeprefix(f"row{place}-"): text
            for name, text in form.values.items()
            if name.startswith(f"row{place}-")
        }
        rows.append({**of_cone, **own})
    return rows


def _blame(form: Form, error: ExperimentError) -> None:
    """Put each problem beside its field: ``row 0, column plate`` or ``row 0, wall``."""
    fields = {}
    for problem in error.problems:
        where = problem.where if isinstance(problem, Problem) else ""
        head, _, rest = where.partition(", ")
        place, column = head.removeprefix("row "), rest.removeprefix("column ")
        for name in (f"row{place}-{column}", f"cone-{column}"):
            if name in form.values:
                fields[where] = name
                break
    form.blame(error, fields)


def _show_conflict(call: Call, form: Form, conflict: EditConflict) -> Response:
    """Show the form again: what is new of others filled in, both values where they collide."""
    sheet = conflict.sheet
    for place, row in enumerate(sheet.rows):
        for column, text in row.items():
            for name in (f"row{place}-{column}", f"cone-{column}"):
                if name in form.values:
                    form.values[name] = text
    form.values["version"] = str(sheet.version)
    for (place, column), now in conflict.now.items():
        name = f"row{place}-{column}"
        name = name if name in form.values else f"cone-{column}"
        form.faults[name] = (
            f"Somebody else made this {now or 'empty'} meanwhile; yours is kept here. "
            "Save again if yours shall count."
        )
    form.faults[""] = f"Cone {sheet.cone} was changed by somebody else. Nothing of yours is lost."
    return show(call, form, status=409)
