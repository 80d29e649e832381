"""Doing one act on a cone from a form: refused acts come back with what was typed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from starlette.responses import Response

from experiments.errors import ConflictError, ExperimentError
from optimiser.page.call import Call
from optimiser.page.forms import Form

if TYPE_CHECKING:
    from experiments.ledger import Ledger

__all__ = ["do", "last_act"]

Act = Callable[["Ledger"], Sequence[str]]
"""Records something and gives remarks on it."""

Again = Callable[[Call, Form, int], Response]
"""Shows the form again, with its faults and a status."""


def last_act(ledger: Ledger) -> int:
    """Give the number of the act that was recorded last."""
    return ledger.newest_act()


def do(
    call: Call,
    form: Form,
    act: Act,
    again: Again,
    *,
    cone: int,
    said: str,
    fields: Mapping[str, str] | None = None,
) -> Response:
    """Do an act on a cone as it was when the form was opened, and tell it on the cone's page.

    Parameters
    ----------
    call, form
        The request; the form carries the cone's ``version``.
    act : callable
        Does it.
    again : callable
        Shows the form again where something is wrong.
    cone : int
        The cone.
    said : str
        What is told afterwards.
    fields : mapping, optional
        Place of a problem to the field that it is about.
    """
    version = form.whole("version")
    if not form.sound:
        return again(call, form, 200)
    try:
        with call.desk.ledger() as ledger:
            before = last_act(ledger)
            with ledger.expecting(cone, version or 0):
                remarks = act(ledger)
            number = last_act(ledger)
    except ConflictError as error:
        form.blame(error)
        return again(call, form, 409)
    except ExperimentError as error:
        form.blame(error, fields or {})
        return again(call, form, 200)
    if number == before:
        return call.go(f"/cones/{cone}", "Nothing was changed.")
    return call.go(f"/cones/{cone}", said, act=number, remarks=remarks)
