"""Binding to an address and serving, until it is stopped."""

from __future__ import annotations

import socket
import threading
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import uvicorn

from experiments.errors import OutputError, Problem
from optimiser.page.app import build_app
from optimiser.page.desk import Desk
from optimiser.page.visitors import Visitors

__all__ = ["PORT", "host_names", "listening", "serve"]

PORT = 8712
LOCAL = "127.0.0.1"
_STEPS = 20  # further ports that are tried where none was asked for


def serve(
    folder: Path,
    *,
    port: int | None = None,
    share: bool = False,
    browse: bool = True,
    tell: Callable[[str], None],
) -> None:
    """Serve the page of a folder until somebody stops it.

    Parameters
    ----------
    folder : Path
        The folder of the experiment.
    port : int, optional
        The port; by default the first free one from `PORT` on.
    share : bool
        Answer to other devices of the network too, to whoever types the access code.
    browse : bool
        Open the page in the browser.
    tell : callable
        Shows a line in the terminal.

    Raises
    ------
    OutputError
        If the port is taken.
    """
    with listening("" if share else LOCAL, port) as bound:
        number = bound.getsockname()[1]
        names = host_names(number, share=share)
        for name in names if share else names[:1]:
            tell(f"http://{name}/")
        visitors = Visitors(
            shared=share, tell=lambda code: tell(f"access code for the next browser: {code}")
        )
        app = build_app(Desk(folder), visitors, names)
        if browse:
            address = f"http://{names[0]}/"
            threading.Thread(target=webbrowser.open, args=(address,), daemon=True).start()
        tell("Ctrl-C stops it; what was recorded stays recorded.")
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,
            ws="none",
            timeout_graceful_shutdown=2,
            limit_concurrency=200,
        )
        # uvicorn ends cleanly on Ctrl-C and then raises it again; here that is the way to stop.
        with suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[bound])


def listening(host: str, port: int | None) -> socket.socket:
    """Bind to a port and listen.

    Raises
    ------
    OutputError
        If it is taken, or no port near `PORT` is free.
    """
    wanted = [port] if port is not None else range(PORT, PORT + _STEPS)
    for number in wanted:
        try:
            return socket.create_server((host, number), backlog=128)
        except OSError as error:
            reason = error.strerror or str(error)
    place = f"port {wanted[0]}" if port is not None else f"ports {PORT} to {PORT + _STEPS - 1}"
    raise OutputError(Problem(place, reason, "a free port", "Name another one with `--port`."))


def host_names(port: int, *, share: bool) -> list[str]:
    """Give the values of ``Host`` that mean this page, the one to open first."""
    hosts = [LOCAL, "localhost"]
    if share:
        name = socket.gethostname().lower()
        hosts += [*_addresses(name), name, f"{name}.local"]
    return [f"{host}:{port}" for host in dict.fromkeys(hosts)]


def _addresses(name: str) -> list[str]:
    """Give the computer's own addresses in its networks."""
    found: list[str] = []
    try:
        found += [str(one[4][0]) for one in socket.getaddrinfo(name, None, socket.AF_INET)]
    except OSError:
        pass
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # Nothing is sent: this only asks which address would be used. The other one is
            # set aside for documentation (RFC 5737).
            probe.connect(("192.0.2.1", 9))
            found.append(str(probe.getsockname()[0]))
        except OSError:
            pass
    return [each for each in dict.fromkeys(found) if not each.startswith("127.")]
