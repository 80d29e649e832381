"""What an act of the history was, in one line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from optimiser import wording

__all__ = ["act_line"]

_NUMBERS = {"mass": "g", "minutes": "min"}
"""What may be given with an act, and its unit."""

_SHOWN = 3  # values that tell one measurement from another of the same cone


def act_line(row: Mapping[Any, Any]) -> str:
    """Say what an act was, and what was said with it."""
    given = row["arguments"]
    numbers = [
        wording.with_unit(wording.setting(given[name]), unit)
        for name, unit in _NUMBERS.items()
        if given.get(name) is not None
    ]
    changes = [
        f"{name}={'none' if value is None else wording.setting(value)}"
        for name, value in _pairs(given.get("changes"))
    ]
    known = [
        f"{name} {value:.4g}" for name, value in _pairs(given.get("values")) if value is not None
    ]
    read = [", ".join(known[:_SHOWN]) + (", …" if len(known) > _SHOWN else "")] if known else []
    words = [given[name] for name in ("why", "note", "text") if given.get(name)]
    former = [
        f"{name} was {'none' if value is None else wording.setting(value)}"
        for name, value in row.get("was", {}).items()
        if value != "" and not name.endswith("_at")  # the moment of an act, not what was said
    ]
    details = "; ".join([*numbers, *read, *changes, *words, *former])
    text = row["summary"] + (" (undone)" if row["undone"] else "")
    return f"{text}: {details}" if details else text


def _pairs(given: Any) -> Iterable[tuple[str, Any]]:
    """Give names and values; an act of another kind may have a list or nothing there."""
    return given.items() if isinstance(given, Mapping) else ()
