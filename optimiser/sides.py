"""The two sides of a comparison as a person writes them: a cone, settings, a cone with changes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from experiments.entries import with_point
from experiments.errors import Problem, RecipeError
from optimiser import wording
from optimiser.answers import Settings

if TYPE_CHECKING:
    from experiments.ledger import Ledger
    from experiments.plan import Plan

__all__ = ["bare_cones", "changed", "name_sides", "read_side", "unmeasured"]

_FEW = 4  # settings of a partial recipe that are all named


def read_side(ledger: Ledger, text: str, side: str) -> Settings:
    """Read a cone number, settings, or a cone with changes: ``7,cure_time=20``.

    Parameters
    ----------
    ledger : Ledger
        Where the cones are.
    text : str
        What was written; parts stand between commas or semicolons, and a number may have a
        decimal comma. ``variable=none`` takes a setting of the cone away.
    side : str
        What to call it in a refusal.

    Raises
    ------
    RecipeError
        Nothing given, a part that is neither, or a variable given twice.
    LedgerError
        No such cone.
    """
    parts = [part for part in _split(text) if part]
    settings: dict[str, Any] = {}
    if parts and parts[0].isdigit():
        settings.update(ledger.cone(int(parts.pop(0))).settings)
    changes: dict[str, str] = {}
    for part in parts:
        name, _, value = (each.strip() for each in part.partition("="))
        if not name or not value:
            raise RecipeError(Problem(f"recipe {side}", repr(part), "variable=value"))
        if name in changes:
            raise RecipeError(Problem(f"recipe {side}", f"{name} twice", f"{name} once"))
        changes[name] = with_point(value)
    if not settings and not changes:
        expected = "a cone number or variable=value,…"
        raise RecipeError(Problem(f"recipe {side}", repr(text), expected))
    return changed(settings, changes)


def changed(settings: Mapping[str, Any], changes: Mapping[str, str]) -> Settings:
    """Change a recipe's settings as they were typed; ``none`` takes one away."""
    gone = [name for name, value in changes.items() if value.lower() == "none"]
    return {name: value for name, value in {**settings, **changes}.items() if name not in gone}


def name_sides(
    plan: Plan, texts: tuple[str, str], recipes: tuple[Settings, Settings]
) -> tuple[str, str]:
    """Name a side that starts from a cone by its number, a few settings as they were given."""
    differing = wording.sides(plan, *recipes)
    few = min(_FEW, len(plan.variables) - 1)
    a, b = (
        _cone(text) or (wording.recipe_line(plan, recipe) if len(recipe) <= few else other)
        for text, recipe, other in zip(texts, recipes, differing, strict=True)
    )
    return a, b


def bare_cones(texts: tuple[str, str]) -> tuple[str, str] | None:
    """Give the numbers of two sides that are cones as they are; None where either is not."""
    one, other = (text.strip() for text in texts)
    return (str(int(one)), str(int(other))) if one.isdigit() and other.isdigit() else None


def unmeasured(ledger: Ledger, texts: tuple[str, str]) -> list[str]:
    """Say which cones among two sides have nothing that counts but their recipe."""
    numbers = [next((part for part in _split(text) if part), "") for text in texts]
    cones = [ledger.cone(int(number)) for number in numbers if number.isdigit()]
    return [
        f"Cone {cone.number} was set aside, what it gave does not count: its recipe is compared."
        if cone.measurements
        else f"Cone {cone.number} was not measured ({cone.status}): its recipe is compared."
        for cone in cones
        if not cone.measurements or cone.status == "set aside"
    ]


def _cone(text: str) -> str:
    """Name a side that starts from a cone: ``cone 7``, ``cone 7 with cure_time=20``."""
    first, *changes = [part for part in _split(text) if part] or [""]
    if not first.isdigit():
        return ""
    changed = ", ".join(change.replace("_", " ").replace("=", " ") for change in changes)
    return f"cone {first} with {changed}" if changes else f"cone {first}"


def _split(text: str) -> list[str]:
    """Split at commas and semicolons, but not at a decimal comma (``exposure=2,5``)."""
    parts: list[str] = []
    for piece in text.replace(";", ",").split(","):
        piece = piece.strip()
        whole = parts and "=" in parts[-1] and parts[-1].rpartition("=")[2].isdigit()
        if whole and piece.isdigit():
            parts[-1] += f",{piece}"
        else:
            parts.append(piece)
    return parts
