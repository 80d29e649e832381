"""Earlier proposals, each made again from the plan and the table of its day."""

from __future__ import annotations

from dataclasses import dataclass

from starlette.exceptions import HTTPException
from starlette.responses import Response

from experiments.proposed import Proposed
from optimiser import wording
from optimiser.page.call import Call
from optimiser.page.work import Job, Tell
from optimiser.reproducing import Reproduced, reproduce

__all__ = ["choose", "show"]


@dataclass(frozen=True)
class Repeated:
    """What came of making a proposal again, its recipes as lines with their reasons."""

    found: Reproduced
    picks: list[tuple[str, str]]


def choose(call: Call) -> Response:
    """Show the proposals in force, newest first."""
    with call.desk.ledger() as ledger:
        known = ledger.proposals()
    return call.page("repeatable", known=known[::-1])


def show(call: Call) -> Response:
    """Make one again in the background and say what differs; nothing is recorded."""
    number = int(call.path("number"))
    with call.desk.ledger() as ledger:
        one = next((each for each in ledger.proposals() if each.number == number), None)
        key = (call.desk.version(ledger), "again", number)
        now = ledger.plan.digest
    if one is None:
        raise HTTPException(404)
    learned = one.details.get("learned_from") is not None
    job = None if learned else call.settle(_again(call, key, one))[0]
    return call.page("repeated", one=one, job=job, same_plan=one.plan == now)


def _again(call: Call, key: tuple[object, ...], one: Proposed) -> Job:
    def answer(tell: Tell) -> Repeated:
        with call.desk.ledger() as ledger:
            stood = ledger.standing(one)
        found = reproduce(one, stood, progress=tell)
        lines = [
            (wording.recipe_line(stood.plan, each.settings), each.why) for each in found.picks
        ]
        return Repeated(found, lines)

    return call.desk.work.ask(key, "choosing again", answer)
