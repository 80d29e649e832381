"""The report: built on demand, to be taken along as one file."""

from __future__ import annotations

from starlette.responses import Response

from optimiser.page.asking import report_of
from optimiser.page.call import Call

__all__ = ["file", "show"]


def show(call: Call) -> Response:
    """Offer the report; with ``?build`` it is written."""
    job = None
    if call.asked("build"):
        with call.desk.ledger() as ledger:
            state = call.desk.state(ledger)
        job = report_of(call.desk, state)
        call.settle(job)
    return call.page("report", job=job)


def file(call: Call) -> Response:
    """Send the report as a file; where it is not written yet, show how far it is."""
    with call.desk.ledger() as ledger:
        state = call.desk.state(ledger)
    job = report_of(call.desk, state)
    if not job.told:
        return call.go("/report", build="yes")
    disposition = {"Content-Disposition": 'attachment; filename="report.html"'}
    return Response(job.result, media_type="text/html; charset=utf-8", headers=disposition)
