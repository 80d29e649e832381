"""What can be given up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from optimiser.records.estimates import UNTOLD, Calibration, Estimate

__all__ = ["DeadEnds", "Variant"]


@dataclass(frozen=True)
class Variant:
    """A level of a choice or a region of a knob, and whether the best can still lie there.

    Parameters
    ----------
    probability : float
        That the best recipe lies there; for a knob that exists only in some recipes, the best of
        those.
    loss : Estimate
        What giving it up is expected to cost, in the unit of the score.
    verdict : {'keep', 'undecided', 'drop', 'cannot tell yet'}
    saves : Estimate
        Cones of the next ten that would be spent there if it were not given up, were each cone
        spent where the best may lie, as often as it may lie there. An estimate from the chance
        alone, not a simulation; NaN while there is none, or where nothing else would be left.
    """

    variable: str
    where: str
    settings: tuple[Any, ...]
    probability: float
    loss: Estimate
    verdict: str
    cones: int
    saves: Estimate = UNTOLD


@dataclass(frozen=True)
class DeadEnds:
    """Which variants can be given up; `variants` in plan order."""

    variants: list[Variant]
    cones: int
    calibration: list[Calibration]
    notes: list[str]
    text: str
