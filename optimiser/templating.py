"""Templates of the print card and the report: one environment, everything escaped."""

from __future__ import annotations

import os
import tempfile
from functools import cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined

from optimiser import wording
from optimiser.figures.style import DARK, LIGHT

__all__ = ["environment", "write_whole"]


@cache
def environment() -> Environment:
    """Give the template environment: escaping on, a missing name is an error."""
    made = Environment(
        loader=PackageLoader("optimiser", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(
        interval=wording.interval,
        number=wording.number,
        percent=wording.percent,
        duration=wording.duration,
        setting=wording.setting,
        with_unit=wording.with_unit,
    )
    made.globals.update(light=LIGHT, dark=DARK)
    return made


def write_whole(path: Path, text: str) -> Path:
    """Write a text file so that a reader sees the old file or the new one, never a half.

    Parameters
    ----------
    path : Path
        Where; its folder is made if it is missing.
    text : str
        The content, written as UTF-8.

    Returns
    -------
    Path
        The same path.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as file:
            file.write(text)
        # mkstemp makes files that only the owner can read; a report is to be shared.
        os.chmod(name, 0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return path
