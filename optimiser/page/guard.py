"""The gate before every room: foreign hosts and origins, sizes, and the headers of every answer.

Other pages in the same browser can send requests here. They cannot read the `Host` and `Origin`
that the browser adds, nor change them: a name that is not ours is a DNS rebinding, an origin that
is not ours is a form of somebody else's (Fetch standard, section 3.2, and Fetch Metadata).
"""

from __future__ import annotations

from collections.abc import Collection

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["FORM_LIMIT", "POLICY", "UPLOAD_LIMIT", "Guard"]

FORM_LIMIT = 2_000_000
"""Bytes of a form without files."""

UPLOAD_LIMIT = 200_000_000
"""Bytes of a form with files: a stereo sweep of one minute at 96 kHz and 32 bit has 46 million."""

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
    "connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Nothing but what this server sends: no inline script or style, no frame, no other host."""

_HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    # 'no-referrer' would make browsers send forms with the origin 'null'.
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
    "Cache-Control": "no-cache, private",
}

# A page of its own: no template is loaded for what may be a stranger's. All texts are ours.
_REFUSED = (
    '<!DOCTYPE html>\n<html lang="en"><meta charset="utf-8">'
    '<meta name="viewport" content="width=device-width, initial-scale=1">'
    '<meta name="color-scheme" content="light dark"><title>Not taken · coneloop</title>'
    "<h1>Not taken</h1><p>%s</p></html>\n"
)

_SAFE = ("GET", "HEAD")
_UNSAFE = ("POST",)


class Guard:
    """Wraps the application; every request passes here first.

    Parameters
    ----------
    app : ASGI application
        What is behind the gate.
    names : collection of str
        Values of ``Host`` that are ours, such as ``127.0.0.1:8712``, in lower case.
    form_limit, upload_limit : int
        Bytes of a request without and with files.
    """

    def __init__(
        self,
        app: ASGIApp,
        names: Collection[str],
        *,
        form_limit: int = FORM_LIMIT,
        upload_limit: int = UPLOAD_LIMIT,
    ) -> None:
        self.app = app
        self.names = frozenset(names)
        self.form_limit, self.upload_limit = form_limit, upload_limit

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Refuse, or pass on with a limit on what comes in and headers on what goes out."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":  # no room speaks over web sockets
            return
        headers = Headers(scope=scope)
        refusal = self._refusal(scope["method"], headers)
        if refusal is not None:
            status, text = refusal
            await HTMLResponse(_REFUSED % text, status, dict(_HEADERS))(scope, receive, send)
            return
        await self.app(scope, self._limited(receive, headers), _with_headers(send))

    def _refusal(self, method: str, headers: Headers) -> tuple[int, str] | None:
        """Say why a request is refused, with its status; None where it is not."""
        hosts = headers.getlist("host")
        if len(hosts) != 1 or hosts[0].lower() not in self.names:
            return 421, "This page answers only to the address that the terminal shows."
        if method not in (*_SAFE, *_UNSAFE):
            return 405, "No room of this page takes such a request."
        origins = headers.getlist("origin")
        site = headers.get("sec-fetch-site")
        if method in _UNSAFE:
            ours = origins == [f"http://{hosts[0]}"] or (not origins and site == "same-origin")
            if not ours or site not in (None, "same-origin"):
                return 403, "This form was sent from another page. Open this one and try again."
        elif site not in (None, "none", "same-origin") and not _navigates(headers):
            return 403, "Another page asked for this. Open it by itself."
        length = headers.get("content-length", "0")
        if not length.isdecimal() or int(length) > self._limit(headers):
            return 413, _too_large(self._limit(headers))
        return None

    def _limit(self, headers: Headers) -> int:
        kind = headers.get("content-type", "")
        return self.upload_limit if kind.startswith("multipart/") else self.form_limit

    def _limited(self, receive: Receive, headers: Headers) -> Receive:
        """Count what comes in, since a length may be missing or a lie."""
        limit, seen = self._limit(headers), 0

        async def counted() -> Message:
            nonlocal seen
            message = await receive()
            seen += len(message.get("body", b""))
            if seen > limit:
                raise HTTPException(413, _too_large(limit))
            return message

        return counted


def _too_large(limit: int) -> str:
    most = f"That is too large: {limit // 1_000_000} MB at most. Nothing was recorded."
    return f"{most} Go back with the browser: what you typed is still there."


def _navigates(headers: Headers) -> bool:
    """Whether a person followed a link here, rather than a page embedding or fetching this one."""
    return headers.get("sec-fetch-mode") == "navigate" and headers.get("sec-fetch-dest") in (
        "document",
        None,
    )


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return sent
