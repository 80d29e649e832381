"""What to print next: how many, what to keep, the picks and why, taken into the plan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlencode

from starlette.responses import Response

from experiments.errors import ExperimentError
from experiments.exchange.cells import MAX_BYTES
from optimiser import wording
from optimiser.answer_tables import Table, check_table
from optimiser.answers import Pick
from optimiser.chances import chance_to_print
from optimiser.page.acting import last_act
from optimiser.page.asking import Proposal, Wanted, picks_of, shortlist_in
from optimiser.page.call import Call
from optimiser.page.desk import State
from optimiser.page.forms import Form, Sent
from optimiser.page.guard import UPLOAD_LIMIT
from optimiser.page.recipes import HOLD, knobs_of, typed_settings
from optimiser.page.work import Job
from optimiser.planning import plan_picks
from optimiser.report_tables import expectations

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["ask", "show", "take"]

MOST = 50
"""Cones that can be asked for at once."""

_FILES = ("list", "earlier")
"""Fields that name files which wait."""

_ASKED = ("count", "per", "seed", *_FILES)

_SHOWN = 6
"""Problems of a list that are told; the rest is counted."""

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
    asking.faults = dict(form.faults) if form else {}
    with call.desk.ledger() as ledger, ledger.snapshot():
        plan, state = ledger.plan, call.desk.state(ledger)
        waiting = [cone.number for cone in call.desk.cones(ledger) if cone.status == "planned"]
    files = _files(call, asking)
    job = _ask(call, state, asking, files)
    look = call.settle(job)[0] if job is not None else None
    found: Proposal | None = look.result if look else None
    return call.page(
        "next",
        status=status,
        form=asking,
        told=told,
        job=look,
        state=state,
        picks=[_shown(plan, pick) for pick in found.picks] if found else [],
        checks=_checks(plan, found) if found else None,
        files=[(name, files[name].name, _address(asking, name)) for name in files],
        limits={"list": MAX_BYTES, "earlier": UPLOAD_LIMIT},
        more=bool(files or asking.text("seed") or {*_FILES, "seed"} & asking.faults.keys()),
        knobs=knobs_of(plan),
        hold=HOLD,
        asked=_ASKED,
        holding=bool(typed_settings(asking.values, HOLD)),
        per=[(key, text) for key, text in _PER.items() if not key or _costs(plan, key)],
        waiting=waiting,
        most=MOST,
    )


def _costs(plan: Plan, key: str) -> bool:
    return getattr(plan.effort, key) is not None


def _checks(plan: Plan, found: Proposal) -> Table | None:
    table = check_table(found.model.calibration(), wording.describe(plan))
    return table if table.rows else None


def _files(call: Call, asking: Form) -> dict[str, Sent]:
    """Give the files that the form names, if they still wait for this browser."""
    files: dict[str, Sent] = {}
    for name in _FILES:
        sent = call.kept(asking.text(name), Sent)
        if sent is not None:
            files[name] = sent
        elif asking.text(name):
            asking.faults[name] = "The file does not wait here any more. Choose it again."
    return files


def _ask(call: Call, state: State, asking: Form, files: dict[str, Sent]) -> Job | None:
    """Ask for picks as a form says; None where nothing was asked or the form has faults."""
    if not asking.text("count"):
        return None
    count, seed = asking.whole("count") or 0, asking.whole("seed")
    if "count" not in asking.faults and not 1 <= count <= MOST:
        asking.faults["count"] = f"Type a number from 1 to {MOST}."
    if seed is not None and seed < 0:
        asking.faults["seed"] = "Type a number from 0 on."
    per = asking.text("per")
    if not asking.sound or per not in _PER:
        return None
    keep = typed_settings(asking.values, HOLD)
    wanted = Wanted(count, keep, per or None, seed, files.get("list"), files.get("earlier"))
    return picks_of(call.desk, state, wanted)


def ask(call: Call, form: Form) -> Response:
    """Keep the files that came, and go to the picks, whose address says all that was asked."""
    with call.desk.ledger() as ledger:
        plan = ledger.plan
    for name in _FILES:
        for sent in form.sent(name)[:1]:
            if name == "list":
                _check_list(form, sent, plan)
            form.values[name] = call.keep(sent, len(sent.content))
    if not form.sound:
        form.values.pop("list", None)
        return show(call, form)
    return call.go(_address(form))


def _address(form: Form, without: str = "") -> str:
    """Give the address at which just this is asked."""
    asked = {
        key: text
        for key, text in form.values.items()
        if text and key != without and (key in _ASKED or key.startswith(HOLD))
    }
    return f"/next?{urlencode(asked)}"


def _check_list(form: Form, sent: Sent, plan: Plan) -> None:
    try:
        shortlist_in(sent, plan)
    except ExperimentError as error:
        more = len(error.problems) - _SHOWN
        told = [str(one).removeprefix(f"{sent.name}, ") for one in error.problems[:_SHOWN]]
        told = [one.removesuffix(".") for one in told]
        form.faults["list"] = "; ".join([*told, *([f"and {more} more"] if more > 0 else [])])


def take(call: Call, form: Form) -> Response:
    """Record the picks that were shown as planned; if the cones changed meanwhile, show anew."""
    with call.desk.ledger() as ledger:
        state = call.desk.state(ledger)
        job = _ask(call, state, form, _files(call, form))
        if job is None or (form.text("plan"), form.text("data")) != (state.plan, state.data):
            said = "Cones or plan were changed since this was proposed: nothing was recorded. "
            return show(call, form, 409, f"{said}This is the choice as things are now.")
        proposal: Proposal = job.result
        if not proposal.picks:
            return show(call, form, 409, "There is nothing to record.")
        numbers, plate, _ = plan_picks(ledger, proposal.picks, proposal.told, proposal.candidates)
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
        rows.append(("Prints with a chance of", chance_to_print(pick.prints, pick.printing)))
    return [row for row in rows if row[1]]
