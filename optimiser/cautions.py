"""Short cautions for work that can hurt someone.

They remind; they do not replace the safety data sheet of the material, the maker's manual of the
machine, local rules or the advice of licensed trades, and each says so.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from experiments.plan import Plan
    from experiments.plan_parts import Variable

__all__ = ["MEASURING", "PROCESSES", "Caution", "for_plan", "for_settings", "unstated"]


@dataclass(frozen=True)
class Caution:
    """What to mind in one kind of work.

    Parameters
    ----------
    topic : str
        The kind of work.
    lines : tuple of str
        One plain sentence each, the deference to data sheets and rules last.
    """

    topic: str
    lines: tuple[str, ...]


PROCESSES: Mapping[str, Caution] = {
    "resin": Caution(
        "Resin printing",
        (
            "Uncured resin irritates and can sensitise the skin for good: gloves that the data "
            "sheet names, eye protection, no bare-hand contact, also with the cone before it is "
            "fully cured.",
            "Wash solvent (isopropanol and the like) burns and its vapour ignites: good airing, "
            "no flame or spark, lid on; never down the drain.",
            "The curing lamp's ultraviolet light harms eyes and skin: keep the cover closed.",
            "Sand only fully cured parts, wet or with extraction and a dust mask.",
            "Follow the resin's and solvent's safety data sheets; dispose of resin, washings "
            "and wipes by local rules.",
        ),
    ),
    "filament": Caution(
        "Filament printing",
        (
            "Nozzle and bed burn the skin, also minutes after printing: let them cool, or wear "
            "heat-proof gloves.",
            "Melting plastic gives off fumes and fine particles: air the room or use an "
            "enclosure with extraction, more so with styrene-based and nylon filaments.",
            "Do not leave a running printer alone without a smoke alarm near it; keep fingers "
            "and hair off moving axes.",
            "Sand with extraction or wet, and wear a dust mask.",
            "Follow the filament's safety data sheet, the printer's manual and local rules.",
        ),
    ),
    "other": Caution(
        "Printing and finishing",
        (
            "Know the material before you start: what it gives off, what it does to skin and "
            "eyes, how it burns.",
            "Sand with extraction or wet, and wear a dust mask and eye protection.",
            "Follow the material's safety data sheet, the machine's manual and local rules.",
        ),
    ),
}

MEASURING = Caution(
    "Measuring",
    (
        "Test tones can damage hearing, and high ones are underestimated: start at a low level, "
        "keep away from the driver, wear ear protection, warn others in the room.",
        "Keep drive level and sweep within what driver and amplifier are rated for; a voice coil "
        "can overheat before it sounds wrong.",
        "Mains voltage kills: work on opened amplifiers or mains wiring belongs to somebody "
        "licensed for it, under local rules.",
    ),
)


_HINTS = {
    "resin": ("resin", "exposure", "cure", "curing", "uv", "wash", "photopolymer"),
    "filament": ("filament", "nozzle", "extruder", "extrusion", "extruded"),
}
"""Words of a plan that tell the process where it does not state it; common practice, no source."""


def _kinds(plan: Plan, settings: Iterable[Mapping[str, Any]]) -> list[str]:
    """Give the kinds of process that recipes use, in the order met."""
    kinds: list[str] = []
    for each in settings:
        for name, variable in plan.variables.items():
            kind = variable.cautions.get(str(each.get(name)))
            if kind and kind not in kinds:
                kinds.append(kind)
    return kinds


def _hinted(plan: Plan, settings: Mapping[str, Any]) -> list[str]:
    """Guess the kinds of process of a recipe from the names of its knobs and levels."""
    known = [(variable, settings.get(name)) for name, variable in plan.variables.items()]
    words = {w for variable, level in known if level is not None for w in _words(variable, level)}
    return [kind for kind, hints in _HINTS.items() if words.intersection(hints)]


def _words(variable: Variable, level: Any) -> list[str]:
    """Give the words of a knob, and of the level that it has."""
    texts = [variable.name, variable.label, *([level] if isinstance(level, str) else [])]
    return re.findall(r"[^\W\d_]+", " ".join(texts).casefold())


def for_settings(plan: Plan, settings: Mapping[str, Any]) -> list[Caution]:
    """Give the cautions for printing one recipe.

    Parameters
    ----------
    plan : Plan
        Says which level of which variable is which process (``cautions`` of a variable).
    settings : dict
        The recipe.

    Returns
    -------
    list of Caution
        Where the plan does not say which process it is, what the names of the recipe's knobs and
        levels suggest; the general ones where they suggest nothing.
    """
    kinds = _kinds(plan, [settings]) or _hinted(plan, settings)
    return [PROCESSES[kind] for kind in kinds or ["other"]]


def for_plan(plan: Plan) -> list[Caution]:
    """Give every caution that an experiment needs: its processes, then measuring."""
    kinds = _kinds(plan, _each_level(plan)) or _hinted_anywhere(plan)
    return [*(PROCESSES[kind] for kind in kinds or ["other"]), MEASURING]


def _each_level(plan: Plan) -> list[dict[str, Any]]:
    return [
        {name: level} for name, variable in plan.variables.items() for level in variable.cautions
    ]


def _hinted_anywhere(plan: Plan) -> list[str]:
    """Guess the kinds of process that any recipe of the plan may use."""
    found = [
        kind
        for name, variable in plan.variables.items()
        for level in variable.words or (0.0,)
        for kind in _hinted(plan, {name: level})
    ]
    return list(dict.fromkeys(found))


def unstated(plan: Plan) -> list[str]:
    """Say that a plan does not state which process its levels are, and what the cards show then.

    Returns
    -------
    list of str
        At most one sentence; none where some variable has ``cautions``.
    """
    if _each_level(plan):
        return []
    kinds = _hinted_anywhere(plan)
    shown = f"those for {' and '.join(kinds)}, by its words" if kinds else "general ones only"
    return [
        "the plan does not say what process a level is (`cautions` of a variable): print cards "
        f"show {shown}"
    ]
