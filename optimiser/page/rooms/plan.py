"""The plan: to read, and to edit with the same checks as the command line's."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

from starlette.responses import Response

from experiments.errors import ConflictError, ExperimentError, PlanError, Problem
from experiments.plan import Plan
from experiments.replanning import plan_digest, plan_problems, plan_text, save_plan
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.report_tables import metric_table, variable_table

__all__ = ["show", "take"]


def show(call: Call, form: Form | None = None, status: int = 200, **more: Any) -> Response:
    """Show the plan as tables, and its text; a broken one as text with what is wrong."""
    text = plan_text(call.desk.folder)
    problems, plan = _read(text)
    tables, rules, notes = [], [], []
    if plan is not None:
        tables, rules = [variable_table(plan), metric_table(plan)], list(plan.rules.items())
        notes = _left_over(call)
    shown: dict[str, Any] = {
        "problems": [str(one) for one in problems],
        "told": "What is wrong with the plan",
        "theirs": None,
        "text": text,
        "digest": plan_digest(text),
        **more,
    }
    return call.page("plan", status=status, form=form, tables=tables, rules=rules, notes=notes,
                     **shown)  # fmt: skip


@lru_cache(maxsize=4)
def _read(text: str) -> tuple[list[Problem | str], Plan | None]:
    """Give what is wrong with a plan, or the plan: read once a text."""
    problems = plan_problems(text)
    return problems, None if problems else Plan.from_text(text)


def _left_over(call: Call) -> list[str]:
    """Say what the store holds that does not agree with the plan, or that it no longer has."""
    try:
        with call.desk.ledger() as ledger:
            found: list[str] = call.desk.work.once(
                (call.desk.version(ledger), "left over"),
                "what is left over",
                lambda _tell: [*map(str, ledger.disagreements()), *ledger.left_over()],
            )
            return found
    except ExperimentError as error:
        return [str(one) for one in error.problems]


def take(call: Call, form: Form) -> Response:
    """Save the plan, or only check it; what was typed stands in the field again."""
    text, digest = form.values.get("plan", ""), form.text("digest")
    if form.text("do") == "check":
        problems = [str(one) for one in plan_problems(text)]
        told = "What is wrong with what you typed" if problems else ""
        if not problems:
            form.faults[""] = "Nothing is wrong with it. It is not saved yet."
        return show(call, form, problems=problems, told=told, digest=digest)
    try:
        save_plan(call.desk.folder, text, digest)
    except PlanError as error:
        form.faults["plan"] = "The plan is not valid yet; nothing was written."
        told = "What is wrong with what you typed"
        problems = [str(one) for one in error.problems]
        return show(call, form, problems=problems, told=told, digest=digest)
    except ConflictError:
        theirs = plan_text(call.desk.folder)
        form.faults[""] = "Somebody changed the plan after you opened it. Nothing was written."
        return show(call, form, 409, theirs=theirs, digest=plan_digest(theirs))
    return call.go("/plan", "Plan saved.", remarks=_left_over(call))
