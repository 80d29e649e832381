"""How people call the parts of a plan: by name, or by label where that is clear."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from experiments.plan_parts import Metric, Variable

__all__ = ["aliases", "meant", "simple_name"]

_UNIT = re.compile(r"\s*[(\[].*[)\]]\s*$")


def simple_name(text: str) -> str:
    """Write a name without its unit, in small letters, with ``_`` between words."""
    return re.sub(r"[\s_-]+", "_", _UNIT.sub("", text).strip().casefold())


def aliases(parts: Mapping[str, Variable | Metric], more: Iterable[str] = ()) -> dict[str, str]:
    """Give every way to write a name: as it is, simplified, or by its label.

    Parameters
    ----------
    parts : mapping
        Variables, metrics or both, by name.
    more : iterable of str
        Further names, without labels.

    Returns
    -------
    dict of str to str
        What may be written to the name that it means. What could mean two names means none,
        unless it is a name itself.
    """
    names = [*parts, *more]
    loose = [(simple_name(name), name) for name in names]
    loose += [(simple_name(part.label), name) for name, part in parts.items()]
    ours: dict[str, set[str]] = {}
    for alias, name in loose:
        ours.setdefault(alias, set()).add(name)
    clear = {alias: next(iter(found)) for alias, found in ours.items() if len(found) == 1}
    return {**clear, **{name: name for name in names}}


def meant(text: str, parts: Mapping[str, Variable | Metric]) -> str:
    """Give the name that a person means; the text itself where it means none.

    Parameters
    ----------
    text : str
        A name or a label, in any case, with or without its unit.
    parts : mapping
        Variables or metrics by name.
    """
    known = aliases(parts)
    return known.get(text, known.get(simple_name(text), text))
