"""A backup: sent or kept here, every change looked at, and only then put back."""

from __future__ import annotations

from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from starlette.responses import Response

from experiments.errors import ExperimentError, LedgerError, Problem
from experiments.restoring import Restoring, preview_restore, restore
from experiments.strangers import check_stranger
from experiments.view import user_name
from optimiser.cards import withdraw_cards
from optimiser.keeping_words import restoring_lines
from optimiser.page.call import Call
from optimiser.page.desk import Desk
from optimiser.page.forms import Form, Sent
from optimiser.page.passing import passing
from optimiser.page.rooms import files
from optimiser.page.work import Job, Tell

__all__ = ["Backup", "choose", "look", "send", "take"]

_HERE = "/files/restore"
_NAME = "backup.db"


@dataclass(frozen=True)
class Backup:
    """A backup that waits to be put back.

    Parameters
    ----------
    name : str
        What to call it.
    sent : Sent or None
        As it came.
    kept : Path or None
        Where it lies, if it is a copy that was kept in the folder.
    """

    name: str
    sent: Sent | None = None
    kept: Path | None = None

    @contextmanager
    def on_disk(self) -> Iterator[Path]:
        """Give its file; one that was sent is known to hold data only and goes afterwards."""
        if self.kept is not None:
            yield self.kept
        elif self.sent is not None:
            with passing(self.sent.content, _NAME) as path:
                check_stranger(path, _NAME, backup=True)
                yield path


def send(call: Call, form: Form) -> Response:
    """Keep a backup that was sent, and show what it would change."""
    sent = form.sent("backup")
    if len(sent) != 1:
        form.faults["backup"] = "Choose one backup (.db)."
        return files.show(call, form)
    return _keep(call, Backup(sent[0].name, sent=sent[0]), len(sent[0].content))


def choose(call: Call, form: Form) -> Response:
    """Show what a copy that lies in the folder would change."""
    found = [
        path for path in files.kept_copies(call.desk.folder) if path.name == form.text("kept")
    ]
    if not found:
        return call.go("/files", "That copy is not kept any more.")
    return _keep(call, Backup(found[0].name, kept=found[0]), 0)


def _keep(call: Call, backup: Backup, size: int) -> Response:
    return call.go(f"{_HERE}/{call.keep(backup, size)}")


def look(call: Call, form: Form | None = None, status: int = 200) -> Response:
    """Show everything that putting it back would change."""
    backup = _waiting(call)
    (job,) = call.settle(_preview(call, backup))
    found: Restoring | None = job.result
    return call.page(
        "restore",
        status=status,
        form=form,
        job=job,
        name=backup.name,
        token_of=call.path("token"),
        found=found,
        lines=restoring_lines(found) if found else [],
    )


def take(call: Call, form: Form) -> Response:
    """Put back what was shown; if the experiment was changed meanwhile, show it anew."""
    backup, token = _waiting(call), call.path("token")
    if form.text("do") == "drop":
        call.desk.uploads.drop(token)
        return call.go("/files", "Nothing was changed; the file is forgotten.")
    job = _preview(call, backup)
    if not job.told:
        said = "The experiment was changed meanwhile: look again, then put it back."
        return call.go(f"{_HERE}/{token}", said)
    try:
        told = _put_back(call.desk, backup, damaged=bool(job.result.damage))
    except ExperimentError as error:
        form.blame(error)
        return look(call, form, 409)
    call.desk.uploads.drop(token)
    remarks = ["What was here is among the copies at Files and can be put back in the same way."]
    return call.go("/", f"{told[:1].upper()}{told[1:]}.", remarks=remarks)


def _put_back(desk: Desk, backup: Backup, *, damaged: bool) -> str:
    before = set() if damaged else _cones(desk)
    desk.let_go()
    with backup.on_disk() as path:
        told = restore(desk.folder, path, who=user_name())
    withdraw_cards(desk.folder, before - _cones(desk))
    # What is kept is named by its folder and file, not by where that lies.
    return told.replace(f"{desk.folder}/", "")


def _cones(desk: Desk) -> set[int]:
    with desk.ledger() as ledger:
        return {cone.number for cone in ledger.cones()}


def _preview(call: Call, backup: Backup) -> Job:
    """Ask what would change in the experiment as it is now; a `Restoring`."""

    def answer(_tell: Tell) -> Restoring:
        with backup.on_disk() as path:
            return preview_restore(call.desk.folder, path)

    key = (_version(call.desk), "restore", call.path("token"))
    return call.desk.work.ask(key, "reading the backup and every row of it", answer)


def _version(desk: Desk) -> Hashable:
    """Give the state of the experiment; of one that cannot be used, what is wrong with it."""
    trouble = desk.trouble()
    if trouble:
        return trouble
    with desk.ledger() as ledger:
        return desk.version(ledger)


def _waiting(call: Call) -> Backup:
    waiting = call.kept(call.path("token"), Backup)
    if waiting is None:
        found = "nothing that waits here any more"
        remedy = "Send it again; nothing was changed."
        raise LedgerError(Problem("this backup", found, "a file that was sent", remedy))
    return waiting
