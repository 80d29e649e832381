"""What a pick does to the front of traded metrics, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from optimiser.answers import Estimate, Member
from optimiser.fronts import position
from optimiser.surrogate import Model
from optimiser.wording import beside, covered, doubt, interval, with_unit

__all__ = ["added_text", "against_text"]

_ALIKE = 0.02  # share of the way from poor to good that is no difference worth naming


def added_text(added: Estimate, volume: Estimate) -> str:
    """Say what a recipe is expected to add to the hypervolume, and what there is."""
    return (
        f"to add {interval(added, most=3)} to the hypervolume of the front, which is "
        f"{covered(volume, most=3)}"
    )


def against_text(model: Model, member: Member, expected: Mapping[str, Estimate]) -> str:
    """Say in which metrics a recipe gains on one of the front, and in which it gives up.

    Parameters
    ----------
    model : Model
    member : Member
        On the front.
    expected : mapping of str to Estimate
        What the recipe itself is expected to have.
    """
    gains: list[str] = []
    losses: list[str] = []
    rises = position(model, expected) - position(model, member.expected)
    for metric, rise in zip(model.goals.metrics, rises, strict=True):
        old, new = member.expected[metric.name], expected[metric.name]
        before, after = beside(old.mean, new), beside(new.mean, new)
        if abs(rise) < _ALIKE or before == after:
            continue
        doubted = doubt(model.calibration(), metric.name)
        text = f"{metric.label} ({before} to {with_unit(after, metric.unit)}{doubted})"
        (gains if rise > 0 else losses).append(text)
    against = f"against cone {member.cones[0]}, on the front, it"
    if not gains and not losses:
        return f"{against} is expected to be an equal"
    if not gains:
        return f"{against} gives up {_listed(losses)}; what it may gain is not known yet"
    return f"{against} gains in {_listed(gains)} and gives up {_listed(losses) or 'nothing'}"


def _listed(parts: Sequence[str]) -> str:
    return " and ".join(parts)
