"""The report: built on demand, to be taken along as one page, or as Markdown with pictures."""

from __future__ import annotations

from starlette.responses import Response

from optimiser.page.asking import post_of, report_of
from optimiser.page.call import Call
from optimiser.page.sending import attached
from optimiser.page.work import Job

__all__ = ["file", "markdown", "show"]


def show(call: Call) -> Response:
    """Offer the report; with ``?build`` it is written, as Markdown if that says so."""
    wanted, job = call.asked("build"), None
    if wanted:
        (job,) = call.settle(_job(call, markdown=wanted == "markdown"))
    return call.page("report", job=job, markdown=wanted == "markdown")


def _job(call: Call, *, markdown: bool) -> Job:
    with call.desk.ledger() as ledger:
        state = call.desk.state(ledger)
    return (post_of if markdown else report_of)(call.desk, state)


def file(call: Call) -> Response:
    """Send the report as a page; where it is not written yet, show how far it is."""
    job = _job(call, markdown=False)
    return attached("report.html", job.result) if job.told else call.go("/report", build="yes")


def markdown(call: Call) -> Response:
    """Send the report as Markdown with its pictures, likewise."""
    job = _job(call, markdown=True)
    return attached("report.zip", job.result) if job.told else call.go("/report", build="markdown")
