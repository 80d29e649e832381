"""The application: every address leads through the gate to a room, every fault to a plain page."""

from __future__ import annotations

import importlib
import threading
from collections.abc import AsyncIterator, Collection
from contextlib import asynccontextmanager
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.routing import Route

from experiments.errors import ExperimentError, LedgerError
from optimiser.diagnosing import write_diagnosis
from optimiser.page.call import Call
from optimiser.page.desk import Desk
from optimiser.page.forms import read_form
from optimiser.page.guard import Guard
from optimiser.page.rooms import ROOMS, WAYS, Way
from optimiser.page.visitors import Visitors

__all__ = ["build_app"]

ENTER = "/enter"


def build_app(desk: Desk, visitors: Visitors, names: Collection[str], **limits: int) -> Guard:
    """Put the page together.

    Parameters
    ----------
    desk : Desk
        The experiment.
    visitors : Visitors
        Who may come in.
    names : collection of str
        Values of ``Host`` that are ours.
    **limits
        As `Guard` takes them.

    Returns
    -------
    Guard
        The ASGI application.
    """

    @asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        threading.Thread(target=_warm, name="warming", daemon=True).start()
        yield
        desk.close()

    app = Starlette(
        routes=[
            Route("/own/{name:str}", _own),
            Route(ENTER, _Door(desk, visitors, Way(ENTER, "enter.show", "enter.take")).enter,
                  methods=["GET", "POST"]),
            *(_route(desk, visitors, way) for way in WAYS),
        ],
        lifespan=lifespan,
        exception_handlers={HTTPException: _Door(desk, visitors, Way("")).turn_away},
    )  # fmt: skip
    return Guard(app, names, **limits)


def _route(desk: Desk, visitors: Visitors, way: Way) -> Route:
    methods = [*(["GET"] if way.show else []), *(["POST"] if way.take else [])]
    return Route(way.path, _Door(desk, visitors, way).pass_through, methods=methods)


_KEYS = {room.key for room in ROOMS}

_TEXTS = {404: "There is nothing at this address.", 405: "Nothing is taken at this address."}

_LOADING = threading.Lock()
"""Held while modules are loaded: two threads at once can find each other's half loaded."""


def _load(*names: str) -> Any:
    """Load modules on their first need, one thread at a time; gives the last one."""
    with _LOADING:
        return [importlib.import_module(name) for name in names][-1]


def _warm() -> None:
    """Load what the first room needs while the browser is still opening, then the other rooms."""
    _load("experiments.ledger", "optimiser.page.rendering", "optimiser.page.rooms.where")
    for module in dict.fromkeys(way.show.partition(".")[0] for way in WAYS if way.show):
        _load(f"optimiser.page.rooms.{module}")


def _own(request: Request) -> Response:
    """Send the style sheet, the script or the mark, whose addresses change with their content."""
    from optimiser.page.own import own_file  # brings the pictures' colours along

    found = own_file(request.path_params["name"])
    if found is None:
        raise HTTPException(404)
    content, kind = found
    lasting = {"Cache-Control": "max-age=31536000, immutable"}
    return Response(content, media_type=kind, headers=lasting)


class _Door:
    """The endpoint of one address: who comes in, what was typed, and what answers."""

    def __init__(self, desk: Desk, visitors: Visitors, way: Way) -> None:
        self.desk, self.visitors, self.way = desk, visitors, way
        paths = sorted((each for each in ROOMS), key=lambda each: -len(each.path))
        found = (each.key for each in paths if (way.path + "/").startswith(each.path + "/"))
        # Measuring a cone is done under its address, but is a room of its own.
        module = way.show.partition(".")[0]
        self.room = module if module in _KEYS else next(found, "")

    async def pass_through(self, request: Request) -> Response:
        """Answer in a session; where it has to be opened with a code, ask for that first."""
        session = self.visitors.session(request.cookies.get(_cookie(request)))
        if session is not None:
            return await self._answer(request, session)
        if self.visitors.shared:
            return RedirectResponse(ENTER, 303)
        cookie = self.visitors.open_session()
        response = await self._answer(request, self.visitors.session(cookie) or "")
        return _remember(request, response, cookie)

    async def turn_away(self, request: Request, error: Exception) -> Response:
        """Say what is wrong with a request that no room answers, such as 404 and 413."""
        assert isinstance(error, HTTPException)
        status = error.status_code
        session = self.visitors.session(request.cookies.get(_cookie(request)))
        call = self._call(request, session or "")
        told = {"title": "Nothing here" if status == 404 else "Not taken"}
        told["text"] = _TEXTS.get(status, error.detail)
        return await run_in_threadpool(call.page, "lost", status=status, **told)

    async def enter(self, request: Request) -> Response:
        """Exchange the access code of a shared page for a session."""
        call = self._call(request, "")
        if not self.visitors.shared:
            return RedirectResponse("/", 303)
        if request.method == "GET":
            return await run_in_threadpool(call.page, "enter", fault="")
        form = await read_form(request)
        right = self.visitors.take_code(form.text("code"))
        if right:
            return _remember(request, call.go("/"), self.visitors.open_session())
        fault = "That is not the code. Each is good for one browser; the terminal shows the next."
        if right is None:
            fault = "Too many wrong codes. Wait a minute, then type the one in the terminal."
        return await run_in_threadpool(
            call.page, "enter", status=429 if right is None else 200, fault=fault
        )

    def _call(self, request: Request, session: str) -> Call:
        return Call(request, self.desk, session, self.visitors.token(session), self.room)

    async def _answer(self, request: Request, session: str) -> Response:
        call = self._call(request, session)
        if request.method != "POST":
            return await run_in_threadpool(_answered, self.way.show, call)
        form = await read_form(request)
        if not self.visitors.is_token(session, form.values.pop("token", "")):
            return await run_in_threadpool(call.page, "stale", status=403)
        return await run_in_threadpool(_answered, self.way.take, call, form)


_BEFORE = ("begin", "unpacked", "waiting")
"""Rooms that are open before an experiment has begun."""


def _answered(name: str, call: Call, *more: object) -> Response:
    """Let a function of a room answer; what it raises becomes a page."""
    try:
        module, _, function = name.partition(".")
        if not call.desk.begun and module not in _BEFORE:
            return call.go("/begin")
        room = _load("optimiser.page.rendering", f"optimiser.page.rooms.{module}")
        response: Response = getattr(room, function)(call, *more)
        return response
    except HTTPException:
        raise
    except ExperimentError as error:
        trouble = call.desk.trouble() if isinstance(error, LedgerError) else ""
        if trouble:
            shown: Response = _load("optimiser.page.rooms.damaged").show(call, trouble)
            return shown
        return call.page("problem", status=422, problems=[str(one) for one in error.problems])
    except Exception as error:
        path = write_diagnosis(error)
        return call.page("fault", status=500, kind=type(error).__name__, path=path)


def _cookie(request: Request) -> str:
    """Name the cookie by the port: browsers send one of a host to every port of it."""
    return f"coneloop-{request.headers.get('host', '').rpartition(':')[2]}"


def _remember(request: Request, response: Response, cookie: str) -> Response:
    response.set_cookie(_cookie(request), cookie, httponly=True, samesite="strict")
    return response
