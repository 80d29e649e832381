"""Short cautions for work that can hurt someone.

They remind; they do not replace the safety data sheet of the material, the maker's manual of the
machine, local rules or the advice of licensed trades, and each says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from experiments.plan import Plan

__all__ = ["MEASURING", "PROCESSES", "Caution", "for_plan", "for_settings"]


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


def _kinds(plan: Plan, settings: Iterable[Mapping[str, Any]]) -> list[str]:
    """Give the kinds of process that recipes use, in the order met."""
    kinds: list[str] = []
    for each in settings:
        for name, variable in plan.variables.items():
            kind = variable.cautions.get(str(each.get(name)))
            if kind and kind not in kinds:
                kinds.append(kind)
    return kinds


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
        The general ones where the plan does not say which process it is.
    """
    return [PROCESSES[kind] for kind in _kinds(plan, [settings]) or ["other"]]


def for_plan(plan: Plan) -> list[Caution]:
    """Give every caution that an experiment needs: its processes, then measuring."""
    levels = [
        {name: level} for name, variable in plan.variables.items() for level in variable.cautions
    ]
    return [*(PROCESSES[kind] for kind in _kinds(plan, levels) or ["other"]), MEASURING]
