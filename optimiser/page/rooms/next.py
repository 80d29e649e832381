"""What to print next: how many, what to keep, the picks and why, taken into the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from starlette.responses import Response

from optimiser import wording
from optimiser.answers import Pick
from optimiser.page.acting import last_act
from optimiser.page.asking import Proposal, picks_of
from optimiser.page.call import Call
from optimiser.page.desk import State
from optimiser.page.forms import Form
from optimiser.page.recipes import HOLD, knobs_of, typed_settings
from optimiser.page.work import Job
from optimiser.planning import plan_picks
from optimiser.report_tables import expectations

if TYPE_CHECKING:
    from experiments.plan import Plan
    from optimiser.answer_tables import Table

__all__ = ["show", "take"]

MOST = 8
"""Cones that can be asked for at once."""

_PER = {"": "the gain alone", "minutes": "gain a minute", "money": "gain for the money"}


@dataclass(frozen=True)
class Shown:
    """A pick as the page shows it.

    Parameters
    ----------
    why : str
    recipe : list of (str, str, str)
        Label, value, and what the cone has that it departs from.
    effort : list of (str, str)
    expected : Table
    """

    why: str
    recipe: list[tuple[str, str, str]]
    effort: list[tuple[str, str]]
    expected: Table


def show(call: Call, form: Form | None = None, status: int = 200, told: str = "") -> Response:
    """Show the form and, once asked, the picks."""
    given = dict(form.values if form else call.request.query_params)
    asking = Form({key: text.strip() for key, text in given.items()})
    with call.desk.ledger() as ledger, ledger.snapshot():
        plan, state = ledger.plan, call.desk.state(ledger)
        waiting = [cone.number for cone in call.desk.cones(ledger) if cone.status == "planned"]
    job = _ask(call, state, asking)
    if job is not None:
        call.settle(job)
    return call.page(
        "next",
        status=status if asking.sound else 422,
        form=asking,
        told=told,
        job=job,
        state=state,
        picks=[_shown(plan, pick) for pick in job.result.picks] if job and job.told else [],
        knobs=knobs_of(plan),
        hold=HOLD,
        holding=bool(typed_settings(asking.values, HOLD)),
        per=[(key, text) for key, text in _PER.items() if not key or _costs(plan, key)],
        waiting=waiting,
        most=MOST,
    )


def _costs(plan: Plan, key: str) -> bool:
    return getattr(plan.effort, key) is not None


def _ask(call: Call, state: State, asking: Form) -> Job | None:
    """Ask for picks as a form says; None where nothing was asked or the form has faults."""
    if not asking.text("count"):
        return None
    count = asking.whole("count") or 0
    if asking.sound and not 1 <= count <= MOST:
        asking.faults["count"] = f"Type a number from 1 to {MOST}."
    per = asking.text("per")
    if not asking.sound or per not in _PER:
        return None
    return picks_of(call.desk, state, count, typed_settings(asking.values, HOLD), per or None)


def take(call: Call, form: Form) -> Response:
    """Record the picks that were shown as planned; if the cones changed meanwhile, show anew."""
    with call.desk.ledger() as ledger:
        state = call.desk.state(ledger)
        job = _ask(call, state, form)
        if job is None or (form.text("plan"), form.text("data")) != (state.plan, state.data):
            said = "Cones or plan were changed since this was proposed: nothing was recorded. "
            return show(call, form, 409, f"{said}This is the choice as things are now.")
        proposal: Proposal = job.result
        if not proposal.picks:
            return show(call, form, 409, "There is nothing to record.")
        numbers, plate, _ = plan_picks(ledger, proposal.picks, proposal.told)
        act = last_act(ledger)
    cones = f"cone{'s' if len(numbers) > 1 else ''} {', '.join(map(str, numbers))}"
    return call.go("/", f"Planned {cones} as plate {plate}; each has its card.", act=act)


def _shown(plan: Plan, pick: Pick) -> Shown:
    names = [name for name in plan.variables if name in pick.settings]
    rows = wording.recipe_rows(plan, pick.settings)
    recipe = [
        (label, value, wording.departure(plan, pick, name))
        for name, (label, value) in zip(names, rows, strict=True)
    ]
    return Shown(
        pick.why, recipe, _effort(plan, pick), expectations(plan, pick.expected, pick.score)
    )


def _effort(plan: Plan, pick: Pick) -> list[tuple[str, str]]:
    """Say what the pick costs, and how likely it prints."""
    rows = [("Effort by the plan", wording.pick_time(plan, pick))]
    if pick.money == pick.money:
        rows.append(("Cost", f"{pick.money:.2f} {plan.effort.currency}".strip()))
    if pick.prints == pick.prints:
        rows.append(("Prints with a chance of", wording.chance(pick.prints, pick.printing)))
    return [row for row in rows if row[1]]
