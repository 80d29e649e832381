"""The print card of a proposed cone, to be taken along, printed and written on."""

from __future__ import annotations

from starlette.responses import Response

from experiments.errors import LedgerError, Problem
from optimiser.cards import card_path
from optimiser.page.call import Call
from optimiser.page.sending import attached

__all__ = ["file"]


def file(call: Call) -> Response:
    """Send the card that was written when the cone was planned, as a file to be kept.

    Raises
    ------
    LedgerError
        If the cone has no card.
    """
    call.desk.refuse_links()
    path = card_path(call.desk.folder, int(call.path("cone")))
    # What lies behind a link may be none of ours.
    if not path.is_file() or path.is_symlink() or path.parent.is_symlink():
        there = f"cone {call.path('cone')}"
        raise LedgerError(Problem(there, "no print card", "a cone that was proposed and planned"))
    return attached(path.name, path.read_bytes())
