"""Earlier proposals, each made again from the plan and the table of its day."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.exceptions import HTTPException
from starlette.responses import Response

from experiments.proposed import Proposed
from optimiser import wording
from optimiser.page.asking import earlier_in
from optimiser.page.call import Call
from optimiser.page.forms import Form, Sent
from optimiser.page.guard import UPLOAD_LIMIT
from optimiser.page.work import Job, Tell
from optimiser.reproducing import Reproduced, reproduce

__all__ = ["choose", "send", "show"]


@dataclass(frozen=True)
class Repeated:
    """What came of making a proposal again, its recipes as lines with their reasons."""

    found: Reproduced
    picks: list[tuple[str, str]]
    notes: list[str]


def choose(call: Call) -> Response:
    """Show the proposals in force, newest first."""
    with call.desk.ledger() as ledger:
        known = ledger.proposals()
    return call.page("repeatable", known=known[::-1])


def send(call: Call, form: Form) -> Response:
    """Keep the archive of the experiment that a proposal learned from."""
    sent = form.sent("earlier")
    if len(sent) != 1:
        form.faults["earlier"] = "Choose the archive of that experiment (.zip)."
        return show(call, form)
    token = call.keep(sent[0], len(sent[0].content))
    return call.go(f"/next/again/{call.path('number')}", earlier=token)


def show(call: Call, form: Form | None = None) -> Response:
    """Make one again in the background and say what differs; nothing is recorded."""
    number = int(call.path("number"))
    earlier = call.kept(call.asked("earlier"), Sent)
    with call.desk.ledger() as ledger:
        one = next((each for each in ledger.proposals() if each.number == number), None)
        key = (call.desk.version(ledger), "again", number, earlier and earlier.digest)
        now = ledger.plan.digest
    if one is None:
        raise HTTPException(404)
    learned = one.details.get("learned_from")
    job = None if learned and not earlier else call.settle(_again(call, key, one, earlier))[0]
    return call.page(
        "repeated",
        form=form,
        one=one,
        job=job,
        same_plan=one.plan == now,
        learned=learned,
        limit=UPLOAD_LIMIT,
    )


def _again(call: Call, key: tuple[object, ...], one: Proposed, earlier: Sent | None) -> Job:
    def answer(tell: Tell) -> Repeated:
        with call.desk.ledger() as ledger:
            stood = ledger.standing(one)
        learned, past, notes = one.details.get("learned_from"), None, []
        if learned and earlier:
            past = earlier_in(call.desk, earlier, stood.plan)
            if past.record["data"] != learned["data"]:
                notes.append("The archive holds other data than the proposal learned from.")
        found = reproduce(one, stood, earlier=past.trials if past else None, progress=tell)
        lines = [
            (wording.recipe_line(stood.plan, each.settings), each.why) for each in found.picks
        ]
        return Repeated(found, lines, notes)

    return call.desk.work.ask(key, "choosing again", answer)
