"""An edited table: sent, every change looked at, and only then taken in."""

from __future__ import annotations

from starlette.responses import Response

from experiments.errors import ExchangeError, ExperimentError, Problem
from experiments.exchange import Preview, apply
from experiments.exchange.preview import Change
from experiments.exchange.preview import show as shown
from experiments.exchange.previewing import preview_contents
from optimiser.answer_tables import Table
from optimiser.page.acting import last_act
from optimiser.page.call import Call
from optimiser.page.forms import Form, Sent
from optimiser.page.rooms import files
from optimiser.page.work import Job, Tell

__all__ = ["look", "send", "take"]

MOST = 3000
"""Changes that are listed; a page with more would not open on a phone."""

_HERE = "/files/table"


def send(call: Call, form: Form) -> Response:
    """Keep an edited table, and show what it would change."""
    sheets = form.sent("sheet")
    if len(sheets) != 1:
        form.faults["sheet"] = "Choose one edited table, CSV or workbook (.xlsx)."
        return files.show(call, form)
    return call.go(f"{_HERE}/{call.keep(sheets[0], len(sheets[0].content))}")


def look(call: Call, form: Form | None = None, status: int = 200) -> Response:
    """Show every change, every conflict and what is left alone."""
    sheet = _waiting(call)
    (job,) = call.settle(_preview(call, sheet))
    preview: Preview | None = job.result
    changes = preview.changes if preview else ()
    return call.page(
        "sheet",
        status=status,
        form=form,
        job=job,
        name=sheet.name,
        token_of=call.path("token"),
        problems=[str(one) for one in preview.problems] if preview else [],
        notes=preview.notes if preview else (),
        headline=preview.headline if preview else "",
        table=_table(changes),
        more=max(0, len(changes) - MOST),
    )


def _table(changes: tuple[Change, ...]) -> Table:
    rows = [
        [
            str(one.row),
            "new" if one.cone is None else str(one.cone),
            one.column,
            shown(one.before),
            shown(one.after) + (" (in place of what the curves gave)" if one.by_hand else ""),
        ]
        for one in changes[:MOST]
    ]
    return Table(f"What changes ({len(changes)})", ["row", "cone", "column", "now", "then"], rows)


def take(call: Call, form: Form) -> Response:
    """Take in what was shown; if the experiment was changed meanwhile, show it anew."""
    sheet = _waiting(call)
    if form.text("do") == "drop":
        call.desk.uploads.drop(call.path("token"))
        return call.go("/files", "Nothing was changed; the file is forgotten.")
    job = _preview(call, sheet)
    if not job.told:  # nobody has seen yet what it does to the table as it is now
        said = "The experiment was changed meanwhile: look again, then take it in."
        return call.go(f"{_HERE}/{call.path('token')}", said)
    try:
        with call.desk.ledger() as ledger:
            told, act = apply(ledger, job.result), last_act(ledger)
    except ExperimentError as error:
        form.blame(error)
        return look(call, form, 409)
    call.desk.uploads.drop(call.path("token"))
    return call.go("/cones", f"{told[:1].upper()}{told[1:]}.", act=act)


def _preview(call: Call, sheet: Sent) -> Job:
    """Ask what the table would change in the experiment as it is now; a `Preview`."""

    def answer(_tell: Tell) -> Preview:
        with call.desk.ledger() as ledger:
            return preview_contents(ledger, sheet.name, sheet.content)

    with call.desk.ledger() as ledger:
        key = (call.desk.version(ledger), "sheet", call.path("token"))
    return call.desk.work.ask(key, "comparing it with the table", answer)


def _waiting(call: Call) -> Sent:
    waiting = call.kept(call.path("token"), Sent)
    if waiting is None:
        found = "nothing that waits here any more"
        remedy = "Send it again; nothing was changed."
        raise ExchangeError(Problem("this table", found, "a file that was sent", remedy))
    return waiting
