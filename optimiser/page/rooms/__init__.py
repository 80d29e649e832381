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
        Its module.
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
)  # fmt: skip

WAYS = (
    Way("/", "where.show"),
    Way("/begin", "begin.show", "begin.take"),
    Way("/history", "history.show"),
    Way("/undo", take="history.undo"),
    Way("/work/{token:str}", "waiting.show"),
)
