"""Everything that is wrong with plan, store and raw files, looked for anew each time."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.responses import Response

from experiments.checking import check_experiment
from experiments.errors import ExperimentError
from experiments.ledger import Ledger
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.work import Job, Tell
from optimiser.remarks import experiment_remarks

__all__ = ["begin", "show", "take"]


@dataclass(frozen=True)
class Found:
    """What is wrong, and what is only odd."""

    problems: list[str]
    notes: list[str]


def begin(call: Call) -> Response:
    """Show what would be looked at."""
    return call.page("checked", job=None)


def take(call: Call, _form: Form) -> Response:
    """Begin to look: what changed on the disk leaves no trace, so no earlier answer is used."""
    call.desk.refuse_links()
    folder = call.desk.folder

    def answer(_tell: Tell) -> Found:
        problems = [str(one) for one in check_experiment(folder)]
        try:
            with Ledger.open(folder) as ledger:
                return Found(problems, experiment_remarks(ledger))
        except ExperimentError:
            return Found(problems, [])

    job = call.desk.work.start("reading every row and every raw file", answer)
    return call.go(f"/plan/check/{call.keep(job)}")


def show(call: Call) -> Response:
    """Show everything that is wrong."""
    asked = call.kept(call.path("token"), Job)
    if asked is None:
        return call.go("/plan/check")
    (job,) = call.settle(asked)
    return call.page("checked", job=job)
