"""What an act of the history was, in one line."""

from __future__ import annotations

from collections.abc import Mapping
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
    changed = given.get("changes")
    changes = [
        f"{name}={'none' if value is None else wording.setting(value)}"
        for name, value in (changed.items() if isinstance(changed, Mapping) else ())
    ]
    values = given.get("values")
    known = [
        f"{name} {value:.4g}"
        for name, value in (values.items() if isinstance(values, Mapping) else ())
        if value is not None
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
