"""A folder without an experiment: what a new one starts from."""

from __future__ import annotations

from starlette.responses import Response

from experiments.errors import ExperimentError, PlanError
from experiments.ledger import Ledger
from experiments.template import PLAN_TEMPLATE
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.guard import UPLOAD_LIMIT

__all__ = ["show", "take"]


def show(call: Call, form: Form | None = None) -> Response:
    """Show the template of a plan, to be edited before the experiment begins."""
    if call.desk.begun:
        return call.go("/")
    return call.page("begin", form=form, start=PLAN_TEMPLATE, limit=UPLOAD_LIMIT)


def take(call: Call, form: Form) -> Response:
    """Begin the experiment, unless the plan is not valid."""
    try:
        Ledger.create(call.desk.folder, form.values.get("plan", "")).close()
    except PlanError as error:
        problems = [str(one) for one in error.problems]
        form.faults = {"plan": "The plan is not valid yet; nothing was written."}
        return call.page("begin", form=form, start="", limit=UPLOAD_LIMIT,
                         problems=problems)  # fmt: skip
    except ExperimentError as error:
        form.blame(error)
        return call.page("begin", form=form, start="", limit=UPLOAD_LIMIT)
    return call.go("/", "The experiment has begun.")
