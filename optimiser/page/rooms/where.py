"""Where we are: the best cone, whether to go on, what waits, and what was done last."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from starlette.responses import Response

from experiments.records import STATUSES, Cone
from optimiser import wording
from optimiser.page import questions
from optimiser.page.call import Call
from optimiser.page.rooms.history import last_in_force

if TYPE_CHECKING:
    from experiments.plan import Plan
    from optimiser.surrogate import Leader

__all__ = ["show"]

LATEST = 6


def show(call: Call) -> Response:
    """Show the room."""
    with call.desk.ledger() as ledger, ledger.snapshot():
        plan, state = ledger.plan, call.desk.state(ledger)
        cones = call.desk.cones(ledger)
        acts = ledger.history(LATEST).to_dict("records")
    model, outlook = call.settle(
        questions.learnt(call.desk, state), questions.outlook_of(call.desk, state)
    )
    return call.page(
        "where",
        plan=plan,
        counts=_counts(cones),
        model=model,
        best=_best(plan, model.result.leader()) if model.told else None,
        outlook=outlook,
        planned=_waiting(plan, cones, "planned"),
        printed=_waiting(plan, cones, "printed"),
        acts=acts,
        last=last_in_force(acts),
    )


def _counts(cones: Sequence[Cone]) -> list[tuple[int, str]]:
    """Count the cones of each state that occurs, in the order of a cone's life."""
    counts = Counter(cone.status for cone in cones)
    return [(counts[status], status) for status in STATUSES if counts[status]]


def _waiting(plan: Plan, cones: Sequence[Cone], status: str) -> list[tuple[int, str]]:
    """Give the numbers and recipes of the cones in a state."""
    return [
        (cone.number, wording.recipe_line(plan, cone.settings))
        for cone in cones
        if cone.status == status
    ]


def _best(plan: Plan, leader: Leader | None) -> dict[str, str] | None:
    """Say which cone leads, and what its recipe is expected to score."""
    if leader is None:
        return None
    name, unit = wording.score_name(plan), wording.score_unit(plan)
    label = wording.describe(plan).get(name, name)
    return {
        "cone": leader.cone,
        "line": f"Its recipe is expected to have a {label} of "
        f"{wording.interval(leader.score, unit)} on average, from "
        f"{wording.many(leader.score.cones, 'cone')}.",
        "recipe": wording.recipe_line(plan, leader.settings),
    }
