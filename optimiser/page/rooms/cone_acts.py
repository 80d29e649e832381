"""What may be recorded of a cone on its page: printed, failed, set aside, put back, a note."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from starlette.responses import Response

from optimiser.page.acting import do, last_act
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.recipes import SET, changed_settings
from optimiser.page.rooms import cone as room
from optimiser.remarks import entry_remarks

if TYPE_CHECKING:
    from experiments.ledger import Ledger

__all__ = ["aside", "back", "failed", "note", "printed"]


def printed(call: Call, form: Form) -> Response:
    """Record a planned cone as printed, with the settings in which it differs from its card."""
    cone = int(call.path("cone"))
    mass, minutes = form.number("mass"), form.number("minutes")

    def act(ledger: Ledger) -> Sequence[str]:
        changes = changed_settings(ledger.plan, form, ledger.cone(cone).settings)
        ledger.printed(
            cone, mass=mass, minutes=minutes, note=form.text("note"), changes=changes or None
        )
        return entry_remarks(ledger, cone, {"mass": mass, "minutes": minutes}, changes)

    return do(call, form, act, room.again("printed"), cone=cone, said=f"Cone {cone} printed.",
              fields=_fields(form))  # fmt: skip


def failed(call: Call, form: Form) -> Response:
    """Record that a cone came to nothing."""
    cone = int(call.path("cone"))
    why = form.needed("why", "Say why it failed; it helps to choose what prints.")

    def act(ledger: Ledger) -> Sequence[str]:
        ledger.failed(cone, why=why, note=form.text("note"))
        return ()

    return do(call, form, act, room.again("failed"), cone=cone, said=f"Cone {cone} failed.",
              fields=_fields(form))  # fmt: skip


def aside(call: Call, form: Form) -> Response:
    """Let a cone count no longer."""
    cone = int(call.path("cone"))
    why = form.needed("why", "Say why it shall not count.")

    def act(ledger: Ledger) -> Sequence[str]:
        ledger.set_aside(cone, why=why)
        return ()

    return do(call, form, act, room.again("aside"), cone=cone, said=f"Cone {cone} set aside.",
              fields=_fields(form))  # fmt: skip


def back(call: Call, form: Form) -> Response:
    """Let a cone count again."""
    cone = int(call.path("cone"))

    def act(ledger: Ledger) -> Sequence[str]:
        ledger.put_back(cone)
        return ()

    return do(call, form, act, room.again("back"), cone=cone, said=f"Cone {cone} put back.")


def note(call: Call, form: Form) -> Response:
    """Write a remark on a cone into the lab book; it changes nothing that another one sees."""
    cone = int(call.path("cone"))
    text = form.needed("text", "Write something.")
    if not form.sound:
        return room.again("note")(call, form, 200)
    with call.desk.ledger() as ledger:
        ledger.note(text, cone=cone)
        act = last_act(ledger)
    return call.go(f"/cones/{cone}", "Note written.", act=act)


def _fields(form: Form) -> dict[str, str]:
    """Give the fields by the places of problems: those of a setting name the variable alone."""
    named = {name: name for name in form.values}
    settings = {name.removeprefix(SET): name for name in form.values if name.startswith(SET)}
    return {**named, **settings}
