"""Files on their way to the browser: from memory, or from a folder of ours that goes with them."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from starlette.responses import FileResponse, Response
from starlette.types import Receive, Scope, Send

__all__ = ["attached", "made", "zipped"]

_KINDS = {
    ".csv": "text/csv; charset=utf-8",
    ".db": "application/vnd.sqlite3",
    ".html": "text/html; charset=utf-8",
    ".svg": "image/svg+xml",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".zip": "application/zip",
}


class _Passing(FileResponse):
    """A file that is streamed once; its folder is removed, however that ends."""

    def __init__(self, place: TemporaryDirectory[str], path: Path) -> None:
        super().__init__(path, media_type=_KINDS[path.suffix], filename=path.name)
        self._place = place

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._place.cleanup()


def made(name: str, make: Callable[[Path], Any]) -> Response:
    """Have a file written into a new folder of the system's, and send it from there.

    Parameters
    ----------
    name : str
        What it is called: one of ours, never what a request says.
    make : callable
        Writes it; what it raises leaves nothing behind.
    """
    place = TemporaryDirectory(prefix="coneloop-", ignore_cleanup_errors=True)
    try:
        path = Path(place.name) / name
        make(path)
        return _Passing(place, path)
    except BaseException:
        place.cleanup()
        raise


def attached(name: str, content: bytes | str) -> Response:
    """Send what is in memory as a file to be kept."""
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=_KINDS[Path(name).suffix], headers=disposition)


def zipped(files: Mapping[str, bytes]) -> bytes:
    """Put files into one ZIP archive, as they are: what is sent here hardly packs."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in files.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return out.getvalue()
