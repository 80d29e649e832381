"""Measuring: files are dropped on a cone, looked at with their warnings, and only then saved."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.responses import Response

from experiments.acoustics.catalogue import KINDS
from experiments.circumstances import CIRCUMSTANCES, climate_remarks
from experiments.drive import drive_cautions
from experiments.errors import ExperimentError, LedgerError, Problem
from experiments.measuring import Measured
from experiments.slips import session_remark
from experiments.trials import is_mass
from optimiser import wording
from optimiser.cautions import MEASURING
from optimiser.page.acting import last_act
from optimiser.page.call import Call
from optimiser.page.curve_pictures import curve_pictures, curves_heard
from optimiser.page.forms import Form
from optimiser.page.guard import UPLOAD_LIMIT
from optimiser.page.hearing import LEVEL, VALUE, Pending, circumstances_of, entered, hear
from optimiser.remarks import entry_remarks

if TYPE_CHECKING:
    from experiments.ledger import Ledger
    from experiments.plan import Plan

__all__ = ["choose", "look", "save", "send", "show"]


def choose(call: Call) -> Response:
    """Show which cones wait to be measured."""
    with call.desk.ledger() as ledger:
        plan, cones = ledger.plan, call.desk.cones(ledger)
    printed = [
        (cone.number, wording.recipe_line(plan, cone.settings))
        for cone in cones
        if cone.status == "printed"
    ]
    measured = sum(cone.status == "measured" for cone in cones)
    return call.page("measure_which", caution=MEASURING, printed=printed, measured=measured)


def show(call: Call, form: Form | None = None) -> Response:
    """Show the form of a mounting."""
    number = int(call.path("cone"))
    with call.desk.ledger() as ledger:
        about = _about(ledger, number)
    return call.page("measure", form=form, **about)


def _about(ledger: Ledger, number: int) -> dict[str, Any]:
    """Give what the form needs: the cone, metrics typed by hand, sessions that there were."""
    try:
        cone = ledger.cone(number)
    except LedgerError:
        raise HTTPException(404) from None
    plan, sessions = ledger.plan, list(ledger.sessions()["session"])
    return {
        "cone": cone,
        "recipe": wording.recipe_line(plan, cone.settings),
        "metrics": list(plan.metrics.values()),
        "weighed": cone.mass,
        "circumstances": CIRCUMSTANCES,
        "sessions": sessions,
        "caution": MEASURING,
        "limit": UPLOAD_LIMIT,
        "kinds": [("", "find out"), *((each, each) for each in KINDS)],
    }


def send(call: Call, form: Form) -> Response:
    """Keep what was sent, begin to listen, and show what comes of it; nothing is saved yet."""
    number = int(call.path("cone"))
    with call.desk.ledger() as ledger:
        plan = ledger.plan
        _about(ledger, number)
    values = _checked(plan, form)
    files, calibrator = form.sent("files"), form.sent("calibrator")
    if not files and not values:
        form.faults["files"] = "Choose the raw files of this mounting, or type a value below."
    if not form.sound:
        return show(call, form)
    pending = Pending(files, dict(form.values), calibrator[0] if calibrator else None)
    hear(call.desk, plan, pending, values)
    size = sum(len(each.content) for each in form.files)
    token = call.keep(pending, size, cone=number)
    return call.go(f"/cones/{number}/measure/{token}")


def _checked(plan: Plan, form: Form) -> dict[str, float]:
    """Check what was typed, each fault beside its field; gives the metrics entered."""
    form.needed("session", "Name the sitting at the test platform, such as monday.")
    circumstances_of(form)
    form.number(LEVEL)
    return entered(plan, form)


def look(call: Call, form: Form | None = None) -> Response:
    """Show what the files gave, with warnings, and everything that was typed."""
    number, pending = int(call.path("cone")), _pending(call)
    with call.desk.ledger() as ledger:
        about, plan = _about(ledger, number), ledger.plan
        if pending.job is None or pending.plan != plan.digest:
            hear(call.desk, plan, pending, entered(plan, Form(dict(pending.typed))))
        assert pending.job is not None
        (job,) = call.settle(pending.job)
        found = _found(ledger, number, pending, job.result) if job.told else {}
    form = form or Form(dict(pending.typed))
    return call.page(
        "measured",
        form=form,
        job=job,
        name=call.path("token"),
        files=[each.name for each in pending.files],
        calibrator=pending.calibrator.name if pending.calibrator else "",
        values=found.get("values", ()),
        warnings=found.get("warnings", ()),
        how=found.get("how", ()),
        pictures=found.get("pictures", {}),
        **about,
    )


def _found(ledger: Ledger, cone: int, pending: Pending, measured: Measured) -> dict[str, Any]:
    """Describe what would be saved."""
    plan, session = ledger.plan, pending.typed.get("session", "").strip()
    weighed = ledger.cone(cone).mass
    rows = []
    for name, metric in plan.metrics.items():
        value, source = measured.values.get(name), str(metric.source)
        if name in measured.by_hand:
            source = "by hand"
        elif value is None and weighed is not None and is_mass(metric):
            value, source = weighed, "printing"
        elif value is None:
            source = wording.UNKNOWN
        rows.append([metric.label, wording.with_unit(wording.number(value), metric.unit), source])
    if pending.pictures is None:
        pending.pictures = curve_pictures(plan, cone, curves_heard(measured), measured.values)
    odd = session_remark(session, ledger.sessions()["session"])
    cautions = [*measured.warnings, *drive_cautions(ledger, cone, session, measured)]
    return {
        "values": rows,
        "warnings": [*([f"{odd}."] if odd else []), *map(str, cautions)],
        "how": measured.notes,
        "pictures": pending.pictures,
    }


def save(call: Call, form: Form) -> Response:
    """Save the mounting, or listen again where kinds or values were changed."""
    number, token, pending = int(call.path("cone")), call.path("token"), _pending(call)
    if form.text("do") == "drop":
        call.desk.uploads.drop(token)
        return call.go(f"/cones/{number}/measure", "Nothing was saved; the files are forgotten.")
    with call.desk.ledger() as ledger:
        plan = ledger.plan
        values = _checked(plan, form)
        if not form.sound:
            return look(call, form)
        before, pending.typed = pending.heard_for, dict(form.values)
        stale = pending.heard_for != before or pending.plan != plan.digest
        if stale or pending.job is None or form.text("do") == "hear":
            hear(call.desk, plan, pending, values)
            return call.go(f"/cones/{number}/measure/{token}")
        if not pending.job.told:  # nobody has seen yet what would be saved
            return call.go(f"/cones/{number}/measure/{token}", "Look at what it gives, then save.")
        try:
            return _save(call, form, ledger, number, pending.job.result, values)
        except ExperimentError as error:
            form.blame(error, _fields(form))
            return look(call, form)


def _save(
    call: Call, form: Form, ledger: Ledger, cone: int, measured: Measured, values: dict[str, float]
) -> Response:
    """Record it, and tell what is odd about it."""
    session, given = form.text("session"), circumstances_of(form)
    known = ledger.sessions()["session"]
    ledger.measure(
        cone,
        session=session,
        curves=measured.curves,
        values=measured.values,
        warnings=[*measured.warnings, *drive_cautions(ledger, cone, session, measured)],
        by_hand=measured.by_hand,
        note=form.text("note"),
        **given,
    )
    act = last_act(ledger)
    call.desk.uploads.drop(call.path("token"))
    odd = session_remark(session, known)
    remarks = [*([odd] if odd else []), *climate_remarks(given)]
    remarks += entry_remarks(ledger, cone, values)
    said = f"Cone {cone} measured in session {session}."
    return call.go(f"/cones/{cone}", said, act=act, remarks=remarks)


def _fields(form: Form) -> dict[str, str]:
    """Give the field of each place that the ledger names."""
    named = {f"{one.words} in {one.unit}": name for name, one in CIRCUMSTANCES.items()}
    values = {name.removeprefix(VALUE): name for name in form.values if name.startswith(VALUE)}
    return {**{name: name for name in form.values}, **values, **named}


def _pending(call: Call) -> Pending:
    """Give what waits at this address for this browser."""
    pending = call.kept(call.path("token"), Pending, cone=int(call.path("cone")))
    if pending is None:
        raise LedgerError(
            Problem(
                "these files",
                "nothing that waits here any more",
                "files that were sent and not saved yet",
                f"Send them again for cone {call.path('cone')}; nothing was saved.",
            )
        )
    return pending
