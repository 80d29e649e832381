"""Every room and every address of the page, in one table; a module a room, loaded on demand.

To add a room: write ``optimiser/page/rooms/NAME.py`` with one function an address, its template in
``templates/page/``, and its lines below. A function that shows takes a `Call` and gives a
response; one that a form is sent to takes a `Call` and a `Form`, and is called only when the
form's token was right.
"""

from __future__ import annotations

from dataclasses import dataclass

__all__ = ["ROOMS", "WAYS", "Room", "Way"]


@dataclass(frozen=True)
class Room:
    """A room in the navigation.

    Parameters
    ----------
    key : str
        Its name in the navigation.
    path : str
        Its address.
    title : str
        What it is called.
    """

    key: str
    path: str
    title: str


@dataclass(frozen=True)
class Way:
    """An address, and what answers it.

    Parameters
    ----------
    path : str
        The address, parts in Starlette's braces.
    show : str
        ``module.function`` that shows it; empty where there is nothing to show.
    take : str
        ``module.function`` that takes the form sent to it; empty where no form is.
    """

    path: str
    show: str = ""
    take: str = ""


ROOMS = (
    Room("where", "/", "Where we are"),
    Room("cones", "/cones", "Cones"),
    Room("next", "/next", "Next"),
    Room("measure", "/measure", "Measure"),
    Room("try", "/try", "Try"),
    Room("answers", "/answers", "Answers"),
    Room("plan", "/plan", "Plan"),
    Room("report", "/report", "Report"),
    Room("files", "/files", "Files"),
)

WAYS = (
    Way("/", "where.show"),
    Way("/cones", "cones.show"),
    Way("/cones/add", "cones.new", "cones.add"),
    Way("/cones/{cone:int}", "cone.show"),
    Way("/cones/{cone:int}/printed", "cone.show", "cone_acts.printed"),
    Way("/cones/{cone:int}/failed", "cone.show", "cone_acts.failed"),
    Way("/cones/{cone:int}/aside", "cone.show", "cone_acts.aside"),
    Way("/cones/{cone:int}/back", "cone.show", "cone_acts.back"),
    Way("/cones/{cone:int}/note", "cone.show", "cone_acts.note"),
    Way("/cones/{cone:int}/history", "history.of_cone"),
    Way("/cones/{cone:int}/edit", "cone_edit.show", "cone_edit.take"),
    Way("/cones/{cone:int}/card", "card.file"),
    Way("/cones/{cone:int}/files/{measurement:int}/{place:int}", "cone.file"),
    Way("/measure", "measure.choose"),
    Way("/cones/{cone:int}/measure", "measure.show", "measure.send"),
    Way("/cones/{cone:int}/measure/{token:str}", "measure.look", "measure.save"),
    Way("/next", "next.show", "next.take"),
    Way("/next/ask", "next.show", "next.ask"),
    Way("/next/again", "repeated.choose"),
    Way("/next/again/{number:int}", "repeated.show", "repeated.send"),
    Way("/try", "trying.show"),
    Way("/answers", "answers.whole"),
    Way("/answers/{name:str}", "answers.show"),
    Way("/plan", "plan.show", "plan.take"),
    Way("/plan/recompute", "recomputed.show", "recomputed.take"),
    Way("/plan/check", "checked.begin", "checked.take"),
    Way("/plan/check/{token:str}", "checked.show"),
    Way("/report", "report.show"),
    Way("/report/file", "report.file"),
    Way("/report/markdown", "report.markdown"),
    Way("/files", "files.show", "sheet.send"),
    Way("/files/table", "files.table"),
    Way("/files/table/{token:str}", "sheet.look", "sheet.take"),
    Way("/files/backup", "files.backup"),
    Way("/files/archive", "files.archive"),
    Way("/files/restore", "files.show", "restored.send"),
    Way("/files/kept", "files.show", "restored.choose"),
    Way("/files/restore/{token:str}", "restored.look", "restored.take"),
    Way("/files/unpack", "files.show", "unpacked.send"),
    Way("/files/unpack/{token:str}", "unpacked.look", "unpacked.take"),
    Way("/files/rescue", "damaged.begin", "damaged.rescued"),
    Way("/files/rescue/{token:str}", "damaged.look"),
    Way("/files/listen", "listening.show", "listening.send"),
    Way("/files/listen/{token:str}", "listening.look", "listening.again"),
    Way("/files/tone", "tone.show"),
    Way("/files/tone/file", "tone.file"),
    Way("/begin", "begin.show", "begin.take"),
    Way("/history", "history.show", "history.undo_to"),
    Way("/undo", take="history.undo"),
    Way("/waiting/{token:str}", "waiting.show"),
)
