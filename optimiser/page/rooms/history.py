"""What was recorded, newest first, and taking the last act back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from starlette.responses import Response

from experiments.errors import LedgerError
from optimiser.cards import withdraw_cards
from optimiser.page.call import Call
from optimiser.page.forms import Form

__all__ = ["show", "undo"]

MOST = 200


def show(call: Call) -> Response:
    """Show the acts."""
    with call.desk.ledger() as ledger:
        acts = ledger.history(MOST).to_dict("records")
    return call.page("history", acts=acts, last=last_in_force(acts), most=MOST)


def last_in_force(acts: Sequence[Mapping[Any, Any]]) -> int | None:
    """Give the number of the act that `undo` would take back; None where there is none."""
    for act in acts:
        if act["act"] not in ("start", "undo") and not act["undone"]:
            return int(act["id"])
    return None


def undo(call: Call, form: Form) -> Response:
    """Take an act back, if it is still the last one in force."""
    number = form.whole("act")
    back = call.own_path(form.text("back"), "/history")
    with call.desk.ledger() as ledger:
        before = {cone.number for cone in ledger.cones()}
        try:
            text = ledger.undo(act=number)
        except LedgerError as error:
            return call.go("/history", "Nothing was undone.", remarks=[str(error)])
        cards = withdraw_cards(ledger.folder, before - {cone.number for cone in ledger.cones()})
    remarks = ["Throw printed cards away: no number is given twice."] if cards else []
    return call.go(back, f"{text[:1].upper()}{text[1:]}.", remarks=remarks)
