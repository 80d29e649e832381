"""The page's own style sheet, script and mark: the only things that it fetches."""

from __future__ import annotations

import hashlib
from functools import cache
from importlib.resources import files

from optimiser.templating import environment

__all__ = ["own_address", "own_file"]

_KINDS = {"page.css": "text/css", "page.js": "text/javascript", "mark.svg": "image/svg+xml"}


@cache
def own_file(name: str) -> tuple[bytes, str] | None:
    """Give one of the three files and its media type; None for any other name."""
    if name not in _KINDS:
        return None
    if name == "page.css":
        content = environment().get_template("page/page.css.j2").render().encode()
    else:
        content = (files("optimiser") / "templates" / "page" / name).read_bytes()
    return content, _KINDS[name]


@cache
def own_address(name: str) -> str:
    """Give the address of one of the files, which changes with its content."""
    found = own_file(name)
    assert found is not None
    return f"/own/{name}?{hashlib.sha256(found[0]).hexdigest()[:12]}"
