"""How a pick departs from the cones that were measured, and which of them it is compared with."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from optimiser.answers import Settings
from optimiser.surrogate import Leader, Model
from optimiser.wording import recipe_line, setting, with_unit

__all__ = ["Base", "Changes", "base_of", "change_text", "changes_of", "newest", "settings_text"]

Floats = npt.NDArray[np.float64]
Changes = dict[str, tuple[Any, Any]]
"""Settings that differ: name to (there, here); None where one is not active."""


@dataclass(frozen=True)
class Base:
    """The cone that a pick is compared with.

    Parameters
    ----------
    cone : str
        Its number.
    settings : dict
        Its recipe.
    """

    cone: str
    settings: Settings


def base_of(model: Model, row: pd.DataFrame, kind: str, leader: Leader | None) -> Base | None:
    """Cone to compare with: the leader for an improvement, the nearest one otherwise."""
    measured = model.evidence.measured
    if not len(measured):
        return None
    if kind in ("improve", "confirm") and leader is not None:
        return Base(leader.cone, leader.settings)
    recipes = model.evidence.recipes(measured)
    one, many = model.encoding(row), model.encoding(recipes)
    apart = ((many.numbers - one.numbers) ** 2).sum(axis=1)
    nearest = int(np.argmin(apart + (many.levels != one.levels).sum(axis=1)))
    settings = model.evidence.space.settings(recipes.iloc[nearest])
    return Base(str(measured["cone"].iloc[nearest]), settings)


def changes_of(there: Settings, here: Settings) -> Changes:
    """List settings that differ: name to (there, here); None where it is not active."""
    names = [*here, *[name for name in there if name not in here]]
    pairs = {name: (there.get(name), here.get(name)) for name in names}
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


# Share of a variable's range from which a setting is unlike another one. Within a tenth, models
# of so few cones hardly ever tell two settings apart, and nobody would call the nearer one new.
_NEW = 0.1


def newest(model: Model, row: pd.DataFrame, changed: Iterable[str]) -> str:
    """Say what no measured cone has had: a setting, else two together, else the whole."""
    gaps = _gaps(model, row)
    alone = {name: float(gap.min()) for name, gap in gaps.items()}
    if max(alone.values(), default=0.0) > _NEW:
        best = max(alone, key=lambda name: alone[name])
        nearest = _nearest(model, best, int(np.argmin(gaps[best])))
        return f"no measured cone has {settings_text(model, row, [best])}{nearest}"
    pairs = {
        (one, other): float(np.hypot(gaps[one], gaps[other]).min())
        for one, other in combinations(gaps, 2)
    }
    if max(pairs.values(), default=0.0) > _NEW:
        one, other = max(pairs, key=lambda pair: pairs[pair])
        texts = [settings_text(model, row, [name]) for name in (one, other)]
        return f"no measured cone has {' together with '.join(texts)}"
    differ = [name for name in changed if name in gaps] or list(gaps)
    return f"no measured cone joins {settings_text(model, row, differ[:3])}"


def _nearest(model: Model, name: str, place: int) -> str:
    """Name the nearest setting that was measured, where that is a number."""
    variable, measured = model.plan.variables[name], model.evidence.measured
    near = measured[name].iloc[place]
    if not variable.numeric or pd.isna(near):
        return ""
    return f" (nearest: {with_unit(setting(near), variable.unit)})"


def settings_text(model: Model, row: pd.DataFrame, names: list[str]) -> str:
    """Write some settings of the pick."""
    return recipe_line(model.plan, {name: row[name].iloc[0] for name in names})


def _gaps(model: Model, row: pd.DataFrame) -> dict[str, Floats]:
    """Distance of each active setting to that of every measured cone: 0 the same, 1 far."""
    recipes = model.evidence.recipes(model.evidence.measured)
    one, all_cones = model.encoding(row), model.encoding(recipes)
    numeric = len(set(model.encoding.owner.tolist()))
    gaps = np.zeros((len(model.encoding.inputs), len(recipes)))
    for column, owner in enumerate(model.encoding.owner):
        difference = np.abs(all_cones.numbers[:, column] - one.numbers[0, column])
        gaps[owner] = np.maximum(gaps[owner], difference)
    for column in range(all_cones.levels.shape[1]):
        gaps[numeric + column] = all_cones.levels[:, column] != one.levels[0, column]
    return {
        name: gaps[place]
        for place, name in enumerate(model.encoding.inputs)
        if name in model.plan.variables and not pd.isna(row[name].iloc[0])
    }


def change_text(model: Model, changes: Changes, most: int = 3) -> str:
    """List the first few changed settings."""
    parts = []
    for name, (there, here) in changes.items():
        if here is None:
            continue
        variable = model.plan.variables[name]
        value = with_unit(setting(here), variable.unit)
        start = "" if there is None else f"from {setting(there)} to "
        parts.append(f"{variable.label} {start}{value}")
    if len(parts) > most:
        parts = [*parts[:most], f"{len(parts) - most} more"]
    return ", ".join(parts) if parts else "nothing (a repeat of the same recipe)"
