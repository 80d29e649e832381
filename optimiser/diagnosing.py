"""What is kept of a fault of our own, so that it can be mended.

The diagnosis holds only what the program itself is: versions, the kind of error, and the places
in the source. No message, no value, no path of the user's, no argument: those may hold names or
designs.
"""

from __future__ import annotations

import os
import platform
import sys
import tempfile
import traceback
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

__all__ = ["diagnosis", "write_diagnosis"]

_LIBRARIES = (
    "click", "matplotlib", "numpy", "pandas", "scipy", "sklearn", "skopt", "starlette", "uvicorn",
)  # fmt: skip
_PACKAGES = {"sklearn": "scikit-learn", "skopt": "scikit-optimize"}


def diagnosis(error: BaseException) -> str:
    """Describe a fault without personal data.

    Parameters
    ----------
    error : BaseException
        What was raised; its causes are described too.

    Returns
    -------
    str
        Plain text.
    """
    lines = [
        "coneloop diagnosis (no arguments, values or user's paths are kept)",
        f"python {platform.python_version()} on {platform.system()} {platform.machine()}",
    ]
    for name in _LIBRARIES:
        if name in sys.modules:
            lines.append(f"{name} {_version(name)}")
    seen: set[int] = set()
    current: BaseException | None = error
    while current is not None and id(current) not in seen:
        seen.add(id(current))
        lines.append(f"\n{type(current).__module__}.{type(current).__qualname__}")
        for frame in traceback.extract_tb(current.__traceback__):
            lines.append(f"  {_place(frame.filename)}:{frame.lineno} in {frame.name}")
        current = current.__cause__ or current.__context__
    return "\n".join(lines) + "\n"


def _version(name: str) -> str:
    """Give the installed version of a library."""
    try:
        return version(_PACKAGES.get(name, name))
    except PackageNotFoundError:
        return "unknown"


def _place(filename: str) -> str:
    """Name a source file by package and module only."""
    parts = Path(filename).parts
    for root in ("site-packages", "optimiser", "experiments"):
        if root in parts:
            start = len(parts) - parts[::-1].index(root) - 1
            return "/".join(parts[start + (root == "site-packages") :])
    return parts[-1] if parts else "?"


def write_diagnosis(error: BaseException) -> Path | None:
    """Write the description into the system's folder for temporary files.

    Returns
    -------
    Path or None
        The file; None if it could not be written.
    """
    try:
        handle, name = tempfile.mkstemp(prefix="coneloop-", suffix=".txt")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(diagnosis(error))
    except OSError:
        return None
    return Path(name)
