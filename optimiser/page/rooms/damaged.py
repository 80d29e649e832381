"""A damaged experiment: what is wrong, and the ways out."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from starlette.responses import Response

from experiments.places import STORE_FILE
from experiments.rescuing import Rescued, rescue
from experiments.view import user_name
from optimiser.page.beside import new_beside
from optimiser.page.call import Call
from optimiser.page.forms import Form
from optimiser.page.guard import UPLOAD_LIMIT
from optimiser.page.rooms import files
from optimiser.page.work import Job, Tell

__all__ = ["begin", "look", "rescued", "show"]

STATUS = 503
"""Of every room while the experiment cannot be used."""


@dataclass(frozen=True)
class Saved:
    """What a rescue brought.

    Parameters
    ----------
    name : str
        The new folder, beside this one.
    told : Rescued
    """

    name: str
    told: Rescued


def show(call: Call, trouble: str) -> Response:
    """Show in place of a room why the experiment cannot be used, and the ways out."""
    folder = call.desk.folder
    return call.page(
        "damaged",
        status=STATUS,
        form=None,
        trouble=trouble,
        readable=(folder / STORE_FILE).is_file(),
        here=folder.resolve().name,
        target=new_beside(folder, "rescued").name,
        copies=files.told_copies(folder),
        limit=UPLOAD_LIMIT,
    )


def begin(call: Call) -> Response:
    """Show the ways out; nothing to show where the experiment can be used."""
    trouble = call.desk.trouble()
    if not trouble:
        return call.go("/files", "Nothing is damaged, so there is nothing to rescue.")
    return show(call, trouble)


def rescued(call: Call, _form: Form) -> Response:
    """Save what is certain to be right into a new folder; the damaged one is only read."""
    if not call.desk.trouble():
        return begin(call)
    folder = call.desk.folder.resolve()

    def answer(_tell: Tell) -> Saved:
        target: Path = new_beside(folder, "rescued")
        return Saved(target.name, rescue(folder, target, who=user_name()))

    job = call.desk.work.start("reading every page of the store", answer)
    return call.go(f"/files/rescue/{call.keep(job)}")


def look(call: Call) -> Response:
    """Show what was saved and what is lost."""
    asked = call.kept(call.path("token"), Job)
    if asked is None:
        return call.go("/files/rescue")
    (job,) = call.settle(asked)
    saved: Saved | None = job.result
    lines = saved.told.lines() if saved else []
    steps = saved.told.steps(Path(f"../{saved.name}")) if saved else []
    here = call.desk.folder.resolve().name
    return call.page("rescued", job=job, lines=lines, steps=steps, here=here)
