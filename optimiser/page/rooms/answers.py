"""The answers: a list of questions, and one page a question with its options."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import Response

from experiments.plan_metrics import MOST_TRADED
from optimiser import wording
from optimiser.ageing_rows import CLOCKS
from optimiser.page.answering import BETWEEN, QUESTIONS
from optimiser.page.asking import answer_of
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.recipes import HOLD, knobs_of

if TYPE_CHECKING:
    from experiments.plan import Plan
    from experiments.records import Cone

__all__ = ["show", "whole"]

Options = list[tuple[str, str]]

_ASKED = {
    "knobs": ("metric",),
    "optimum": ("variable",),
    "compare": ("a", "b"),
    "ageing": ("by", "at"),
    "front": BETWEEN,
}


def whole(call: Call) -> Response:
    """List the questions."""
    with call.desk.ledger() as ledger:
        plan = ledger.plan
    pull = len(_goals(plan)) > 1
    listed = {name: each for name, each in QUESTIONS.items() if name != "front" or pull}
    return call.page("answers", questions=listed)


def show(call: Call) -> Response:
    """Ask one question, as the address says; one that needs more to be told waits for it."""
    name = call.path("name")
    if name not in QUESTIONS:
        raise HTTPException(404)
    with call.desk.ledger() as ledger, ledger.snapshot():
        plan, state, cones = ledger.plan, call.desk.state(ledger), call.desk.cones(ledger)
    given = {key: text.strip() for key, text in call.request.query_params.items()}
    asked = {
        key: text
        for key, text in given.items()
        if text and (key in _ASKED.get(name, ()) or (key.startswith(HOLD) and name == "optimum"))
    }
    job = None
    if _needed(plan, name) <= set(asked):
        (job,) = call.settle(answer_of(call.desk, state, name, asked))
    told = job.result if job is not None and job.told else None
    return call.page(
        "answer",
        name=name,
        question=QUESTIONS[name],
        asked=asked,
        job=job,
        pictures={each.key: each for each in told.pictures} if told else {},
        holding=Form(asked) if any(key.startswith(HOLD) for key in asked) else None,
        knobs=knobs_of(plan),
        hold=HOLD,
        options=_options(plan, cones),
    )


def _needed(plan: Plan, name: str) -> set[str]:
    """Give the fields that a question cannot be asked without."""
    if name == "front" and len(_goals(plan)) > MOST_TRADED:
        return set(BETWEEN[:2])
    return {"a", "b"} if name == "compare" else set()


def _goals(plan: Plan) -> Options:
    """Give the metrics that can pull apart: those with a goal."""
    return [(name, one.label) for name, one in plan.metrics.items() if one.goal != "watch"]


def _options(plan: Plan, cones: list[Cone]) -> dict[str, Options]:
    """Give what can be chosen: metrics, variables, sides of a comparison, clocks."""
    metrics = [(name, metric.label) for name, metric in plan.metrics.items()]
    score = [] if wording.score_name(plan) in plan.metrics else [("score", "score")]
    numbers = [(name, one.label) for name, one in plan.variables.items()]
    levels = [
        (f"{name}={wording.setting(level)}", f"{one.label}: {wording.setting(level)}")
        for name, one in plan.variables.items()
        for level in one.levels or ()
    ]
    measured = [(str(one.number), f"cone {one.number}") for one in cones if one.measurements]
    return {
        "metrics": [*score, *metrics],
        "goals": _goals(plan),
        "variables": numbers,
        "sides": [*levels, *measured],
        "clocks": [(name, f"{clock.of} ({clock.unit})") for name, clock in CLOCKS.items()],
    }
