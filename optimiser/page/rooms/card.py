"""The print card of a proposed cone, to be taken along, printed and written on."""

from __future__ import annotations

from starlette.responses import Response

from optimiser.cards import card_path
from optimiser.page.call import Call
from optimiser.page.sending import attached

__all__ = ["file"]


def file(call: Call) -> Response:
    """Send the card that was written when the cone was planned, as a file to be kept."""
    call.desk.refuse_links()
    path = card_path(call.desk.folder, int(call.path("cone")))
    # What lies behind a link may be none of ours.
    if not path.is_file() or path.is_symlink() or path.parent.is_symlink():
        cone = call.path("cone")
        return call.go(f"/cones/{cone}", f"Cone {cone} has no print card in the folder.")
    return attached(path.name, path.read_bytes())
