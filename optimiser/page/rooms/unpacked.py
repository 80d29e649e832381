"""An archive: its size told first, then taken out into a new folder, or to begin with."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from starlette.responses import Response

from experiments.archives import Inside, look_inside
from experiments.errors import ArchiveError, ExperimentError, Problem
from experiments.moving_in import move_in
from experiments.unpacking import MOST, unpack
from optimiser.keeping_words import file_size
from optimiser.page.beside import new_beside
from optimiser.page.call import Call
from optimiser.page.forms import Form, Sent
from optimiser.page.passing import passing
from optimiser.page.rooms import begin, files
from optimiser.page.work import Job, Tell

__all__ = ["look", "send", "take"]

_NAME = "archive.zip"


@dataclass
class Waiting:
    """An archive that waits.

    Attributes
    ----------
    sent : Sent
        As it came.
    inside : Inside
        What it says it holds.
    job : Job or None
        Taking it out; gives the name of the folder.
    """

    sent: Sent
    inside: Inside
    job: Job | None = field(default=None, repr=False)


def send(call: Call, form: Form) -> Response:
    """Keep an archive whose list can be read, and show what it holds."""
    again = files.show if call.desk.begun else begin.show
    sent = form.sent("archive")
    if len(sent) != 1:
        form.faults["archive"] = "Choose one archive (.zip)."
        return again(call, form)
    try:
        with passing(sent[0].content, _NAME) as path:
            inside = look_inside(path, MOST)
    except ExperimentError as error:
        form.faults["archive"] = " ".join(map(str, error.problems))
        return again(call, form)
    token = call.keep(Waiting(sent[0], inside), len(sent[0].content))
    return call.go(f"/files/unpack/{token}")


def look(call: Call) -> Response:
    """Show what it holds, or how far taking it out is."""
    waiting = _waiting(call)
    job = call.settle(waiting.job)[0] if waiting.job else None
    return call.page(
        "unpack",
        job=job,
        name=waiting.sent.name,
        inside=waiting.inside,
        sizes=[(one.name, file_size(one.size)) for one in waiting.inside.entries],
        whole=file_size(waiting.inside.size),
        token_of=call.path("token"),
        here=call.desk.folder.resolve().name,
        target=new_beside(call.desk.folder, "unpacked").name,
    )


def take(call: Call, form: Form) -> Response:
    """Take it out: into a new folder beside this one, or into this one if nothing began here."""
    waiting, token = _waiting(call), call.path("token")
    if form.text("do") == "drop":
        call.desk.uploads.drop(token)
        path = "/files" if call.desk.begun else "/begin"
        return call.go(path, "Nothing was written; the file is forgotten.")
    if waiting.job is None or (waiting.job.done and not waiting.job.told):
        waiting.job = call.desk.work.start("unpacking and verifying", _unpacking(call, waiting))
    return call.go(f"/files/unpack/{token}")


def _unpacking(call: Call, waiting: Waiting) -> Callable[[Tell], str]:
    folder, begins = call.desk.folder, not call.desk.begun

    def answer(_tell: Tell) -> str:
        with passing(waiting.sent.content, _NAME) as path:
            if begins:
                move_in(path, folder)
                return ""
            target = new_beside(folder, "unpacked")
            unpack(path, target)
            return target.name

    return answer


def _waiting(call: Call) -> Waiting:
    waiting = call.kept(call.path("token"), Waiting)
    if waiting is None:
        found = "nothing that waits here any more"
        raise ArchiveError(
            Problem("this archive", found, "a file that was sent", "Send it again.")
        )
    return waiting
