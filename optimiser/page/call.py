"""A request as a room sees it: the desk, what was asked, and the ways to answer."""

from __future__ import annotations

import re
import time
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeVar
from urllib.parse import urlencode

from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from optimiser.page.desk import Desk
from optimiser.page.sending import attached
from optimiser.page.told import News
from optimiser.page.uploads import Upload
from optimiser.page.work import Job, Look

__all__ = ["Call"]

T = TypeVar("T")

_OWN_PATH = re.compile(r"/[a-z0-9/_-]*")

PATIENCE = 0.25
"""Seconds that a page waits for long work before it shows how far that is."""


@dataclass(frozen=True)
class Call:
    """One request.

    Parameters
    ----------
    request : Request
        As Starlette has it; a room seldom needs it.
    desk : Desk
        The open experiment.
    session : str
        The browser's session.
    token : str
        What forms of that session carry.
    room : str
        The room that the address belongs to, marked in the navigation.
    """

    request: Request
    desk: Desk
    session: str
    token: str
    room: str = ""

    def path(self, name: str) -> Any:
        """Give a part of the address, such as ``cone`` of ``/cones/{cone:int}``."""
        return self.request.path_params[name]

    def asked(self, name: str, default: str = "") -> str:
        """Give what stands behind the question mark of the address."""
        return self.request.query_params.get(name, default).strip()

    def keep(self, content: object, size: int = 0, *, cone: int = 0) -> str:
        """Let something wait for this browser, and give the name to ask for it; see `Upload`."""
        return self.desk.uploads.keep(Upload(cone, self.session, content, size))

    def kept(self, name: str, kind: type[T], *, cone: int = 0) -> T | None:
        """Give what waits for this browser under a name; None where it is another thing."""
        found = self.desk.uploads.find(name, self.session)
        if found is None or found.cone != cone or not isinstance(found.content, kind):
            return None
        return found.content

    @property
    def wants_json(self) -> bool:
        """Whether the page's own script asks, not a person."""
        return "application/json" in self.request.headers.get("accept", "")

    def page(self, template: str, *, status: int = 200, **shown: Any) -> Response:
        """Show a template of ``templates/page``.

        Parameters
        ----------
        template : str
            Its name without endings, such as ``where``.
        status : int
            409 where two people collided. A form that is shown again with its faults is what was
            asked for: browsers log any other status than 200 as a page that failed to load.
        **shown
            What the template needs besides `call` and `news`. `pictures` is a mapping of
            `optimiser.page.pictures.Picture`, whose data ``?data=KEY`` gives as CSV,
            and ``?drawing=KEY`` as SVG.
        """
        for each in shown.get("pictures", {}).values():
            if each.key == self.asked("data"):
                return attached(f"{each.key}.csv", each.csv())
            if each.key == self.asked("drawing") and each.alone:
                return attached(f"{each.key}.svg", each.file())
        # Loaded on the first need: the pictures' colours bring matplotlib along.
        from optimiser.page.rendering import render

        news = self.desk.told.find(self.asked("told"))
        return HTMLResponse(render(template, self, news, shown), status)

    def go(self, path: str, text: str = "", *, act: int | None = None,
           remarks: Sequence[str] = (), **query: str) -> Response:  # fmt: skip
        """Send the browser to another page after a form, and tell there what was done.

        A form that was sent is answered so, that the browser's back button and reloading do what
        they should. `act` is the number in the history, by which the page offers to undo it.
        """
        if text:
            query["told"] = self.desk.told.keep(News(text, act, tuple(remarks)))
        address = f"{path}?{urlencode(query)}" if query else path
        return RedirectResponse(address, 303)

    def own_path(self, given: str, default: str) -> str:
        """Take an address that a form carries only if it is a plain one of this page."""
        plain = _OWN_PATH.fullmatch(given) and not given.startswith("//")
        return given if plain else default

    def settle(self, *jobs: Job) -> list[Look]:
        """Wait a moment for long work, so that what is quick shows at once.

        Returns
        -------
        list of Look
            How each job stands then. Show these, not the jobs, which go on meanwhile.
        """
        deadline = time.monotonic() + PATIENCE
        for job in jobs:
            job.wait(max(0.0, deadline - time.monotonic()))
        return [job.look() for job in jobs]
