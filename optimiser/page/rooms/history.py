"""What was recorded, newest first, and taking the last act back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException
from starlette.responses import Response

from experiments.errors import LedgerError, Problem
from optimiser.act_words import act_line
from optimiser.cards import withdraw_cards
from optimiser.page.call import Call
from optimiser.page.forms import Form

if TYPE_CHECKING:
    from experiments.ledger import Ledger

__all__ = ["of_cone", "show", "undo", "undo_to"]

MOST = 200
_NEVER = 1_000_000
"""Acts that no experiment has."""


def show(call: Call) -> Response:
    """Show the acts; older ones too, where the address asks for more."""
    most = min(int(more), _NEVER) if (more := call.asked("most")).isdecimal() else MOST
    with call.desk.ledger() as ledger:
        acts = ledger.history(max(1, most)).to_dict("records")
    last = last_in_force(acts)
    return call.page("history", acts=acts, last=last, behind=_behind(acts, last), most=most)


def of_cone(call: Call) -> Response:
    """Show what touched one cone, and what it was before."""
    number = int(call.path("cone"))
    with call.desk.ledger() as ledger:
        if number not in {cone.number for cone in call.desk.cones(ledger)}:
            raise HTTPException(404)
        acts = ledger.history(cone=number).to_dict("records")
    told = [{**act, "told": act_line(act)} for act in acts]
    return call.page("cone_history", cone=number, acts=told)


def last_in_force(acts: Sequence[Mapping[Any, Any]]) -> int | None:
    """Give the number of the act that `undo` would take back; None where there is none."""
    for act in acts:
        if act["act"] == "rescue":  # no way leads back beyond it
            return None
        if act["act"] not in ("start", "undo", "restore") and not act["undone"]:
            return int(act["id"])
    return None


def _behind(acts: Sequence[Mapping[Any, Any]], last: int | None) -> list[tuple[str, str]]:
    """Give the acts that can be gone back to: those in force before the last one."""
    return [
        (str(act["id"]), f"{act['at'][:16].replace('T', ' ')} {act['summary']}")
        for act in acts
        if act["act"] != "undo" and not act["undone"] and act["id"] < (last or 0)
    ]


def undo(call: Call, form: Form) -> Response:
    """Take an act back, if it is still the last one in force."""
    number = form.whole("act")
    back = call.own_path(form.text("back"), "/history")
    return _undone(call, lambda ledger: [ledger.undo(act=number)], back)


def undo_to(call: Call, form: Form) -> Response:
    """Take every act after one back, unless somebody went on working meanwhile."""
    number, last = form.whole("act"), form.whole("last")

    def act(ledger: Ledger) -> list[str]:
        now = last_in_force(ledger.history(MOST).to_dict("records"))
        if number is None or now != last:
            found = "acts that were recorded after this list was shown"
            raise LedgerError(Problem("history", found, "the list as it is now", "Choose again."))
        return ledger.undo_to(number)

    return _undone(call, act, "/history")


def _undone(call: Call, act: Callable[[Ledger], list[str]], back: str) -> Response:
    """Take acts back, and the cards of cones that are no more."""
    with call.desk.ledger() as ledger:
        before = {cone.number for cone in ledger.cones()}
        try:
            told = act(ledger)
        except LedgerError as error:
            return call.go("/history", "Nothing was undone.", remarks=[str(error)])
        cards = withdraw_cards(ledger.folder, before - {cone.number for cone in ledger.cones()})
    text = "; ".join(told) if len(told) < 4 else f"{len(told)} acts undone"
    remarks = ["Throw printed cards away: no number is given twice."] if cards else []
    return call.go(back, f"{text[:1].upper()}{text[1:]}." if text else "Nothing to undo.",
                   remarks=remarks)  # fmt: skip
