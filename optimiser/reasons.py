"""Why a cone was picked, in one plain sentence with its numbers."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from experiments.plan import Metric
from optimiser.acquisition import NoisyImprovement
from optimiser.answers import Estimate, Pick, Settings
from optimiser.goals import desirability
from optimiser.surrogate import Leader, Model
from optimiser.wording import interval, number, setting, with_unit

__all__ = ["describe"]


def describe(
    model: Model,
    row: pd.DataFrame,
    kind: str,
    acquisition: NoisyImprovement | None,
    known: int,
) -> Pick:
    """Build the full record of a picked recipe.

    Parameters
    ----------
    model : Model
    row : DataFrame of shape (1, variables)
    kind : {'first', 'improve', 'confirm'}
        'improve' becomes 'explore' where the recipe itself is not expected to beat the leader.
    acquisition : NoisyImprovement or None
    known : int
        Recipes measured, pending or picked before.

    Returns
    -------
    Pick
    """
    space, points = model.evidence.space, model.encoding(row)
    settings = space.settings(row.iloc[0])
    leader = model.leader()
    recipe_score = model.predict_score(row, noisy=False)[0]
    if kind == "improve" and (leader is None or not _better(model, recipe_score, leader)):
        kind = "explore"
    base = _base(model, row, kind, leader)
    changes = _changes(base.settings, settings) if base else {}
    effort = space.effort(row).iloc[0]
    expected = model.expected(row)[0]
    case = _Case(model, row, kind, leader, base, changes, expected, recipe_score, known)
    return Pick(
        settings=settings,
        expected=expected,
        score=model.predict_score(row)[0],
        why=_sentence(case),
        kind=kind,
        prints=float(model.printability(points)[0])
        if model.printability.failures_
        else float("nan"),
        minutes=float(effort["minutes"]),
        money=float(effort["money"]),
        gain=float("nan") if acquisition is None else float(acquisition.gain(points).mean()),
        departs_from=_as_number(base.cone) if base else None,
        changes=changes,
    )


@dataclass(frozen=True)
class _Base:
    """The cone that a pick is compared with."""

    cone: str
    settings: Settings


@dataclass(frozen=True)
class _Case:
    """What a sentence is made of."""

    model: Model
    row: pd.DataFrame
    kind: str
    leader: Leader | None
    base: _Base | None
    changes: dict[str, tuple[Any, Any]]
    expected: dict[str, Estimate]
    score: Estimate  # of the recipe itself
    known: int

    @property
    def name(self) -> str:
        """What is optimised."""
        raw = self.model.goals.raw
        return "score" if raw is None else raw.label

    def interval(self, value: Estimate) -> str:
        """Write a score with its 90 % interval."""
        return interval(value, self.model.goals.unit)

    def inside(self, value: Estimate) -> str:
        """Write the same without parentheses of its own."""
        return self.interval(value).replace(" (", ", 90 %: ").replace(")", "")


def _better(model: Model, score: Estimate, leader: Leader) -> bool:
    return bool(model.goals.sign * (score.mean - leader.score.mean) > 0)


def _as_number(cone: str) -> int | None:
    """Give the cone's number; a table without cone numbers has none."""
    try:
        return int(float(cone))
    except ValueError:
        return None


def _base(model: Model, row: pd.DataFrame, kind: str, leader: Leader | None) -> _Base | None:
    """Cone to compare with: the leader for an improvement, the nearest one otherwise."""
    measured = model.evidence.measured
    if not len(measured):
        return None
    if kind in ("improve", "confirm") and leader is not None:
        return _Base(leader.cone, leader.settings)
    recipes = model.evidence.recipes(measured)
    one, many = model.encoding(row), model.encoding(recipes)
    apart = ((many.numbers - one.numbers) ** 2).sum(axis=1)
    nearest = int(np.argmin(apart + (many.levels != one.levels).sum(axis=1)))
    settings = model.evidence.space.settings(recipes.iloc[nearest])
    return _Base(str(measured["cone"].iloc[nearest]), settings)


def _changes(there: Settings, here: Settings) -> dict[str, tuple[Any, Any]]:
    """List settings that differ: name to (there, here); None where it is not active."""
    names = [*here, *[name for name in there if name not in here]]
    pairs = {name: (there.get(name), here.get(name)) for name in names}
    return {name: pair for name, pair in pairs.items() if pair[0] != pair[1]}


def _sentence(case: _Case) -> str:
    """Compose the reason."""
    if case.kind == "first" or case.leader is None or case.base is None:
        return _first_sentence(case)
    if case.kind == "confirm":
        return (
            "Every other recipe is printed or planned already; another cone of this one shows "
            f"how well it repeats (best so far: cone {case.base.cone}, {case.name} "
            f"{case.inside(case.leader.score)})."
        )
    rival = f"cone {case.leader.cone} ({case.name} {case.inside(case.leader.score)})"
    if case.kind == "improve":
        return (
            f"Expected to improve on {rival} by {_step(case)}, to "
            f"{case.interval(case.score)}{_mover(case)}, by changing {_change_text(case)}."
        )
    return (
        f"Mostly to learn: {_newest(case.model, case.row)}, and nothing like it has been measured "
        f"(nearest: cone {case.base.cone}); expected {case.name} {case.interval(case.score)}, so "
        f"it may beat {rival}."
    )


def _step(case: _Case) -> str:
    """Write the expected improvement on the leader."""
    assert case.leader is not None
    step = abs(case.score.mean - case.leader.score.mean)
    width = case.score.high - case.score.low
    return with_unit(number(step, width), case.model.goals.unit)


def _first_sentence(case: _Case) -> str:
    """Say why a space-filling cone was taken."""
    cones = case.model.cones
    if not case.known:
        return "First cone: nothing is known yet, so the first cones are spread over the recipes."
    text = (
        "Spreads the first cones over the recipes: far from the "
        f"{case.known} recipe(s) measured or planned"
    )
    if cones and not case.model.scorable:
        return f"{text}; the {cones} measured cone(s) do not carry a score yet."
    return f"{text}; {cones} measured cone(s) are too few to choose by a model."


def _mover(case: _Case) -> str:
    """Name the metric that carries most of the improvement, if there is more than one."""
    model, leader = case.model, case.leader
    if model.goals.raw is not None or len(model.goals.metrics) < 2 or leader is None:
        return ""
    here = case.expected

    def rise(metric: Metric) -> float:
        new = desirability(metric, here[metric.name].mean)
        return metric.weight * float(new - desirability(metric, leader.expected[metric.name].mean))

    best = max(model.goals.metrics, key=rise)
    if not rise(best) > 0:
        return ""
    width = here[best.name].high - here[best.name].low
    old, new = (number(e[best.name].mean, width) for e in (leader.expected, here))
    return f", mostly through {best.label} ({old} to {with_unit(new, best.unit)})"


def _newest(model: Model, row: pd.DataFrame) -> str:
    """Name the setting that differs most from that of any measured cone."""
    recipes = model.evidence.recipes(model.evidence.measured)
    one, many = model.encoding(row), model.encoding(recipes)
    numeric = len(set(model.encoding.owner.tolist()))
    gaps = np.zeros(len(model.encoding.inputs))
    for column, owner in enumerate(model.encoding.owner):
        difference = np.abs(many.numbers[:, column] - one.numbers[0, column])
        gaps[owner] = max(gaps[owner], float(difference.min()))
    for column in range(many.levels.shape[1]):
        gaps[numeric + column] = float((many.levels[:, column] != one.levels[0, column]).all())
    if gaps.max() > 0.02:
        names = [n for n in model.encoding.inputs if n in model.plan.variables]
        best = max(names, key=lambda name: gaps[model.encoding.inputs.index(name)])
        value = row[best].iloc[0]
        if not pd.isna(value):
            variable = model.plan.variables[best]
            return f"{variable.label} {with_unit(setting(value), variable.unit)}"
    return "the combination of settings"


def _change_text(case: _Case, most: int = 3) -> str:
    """List the first few changed settings."""
    parts = []
    for name, (there, here) in case.changes.items():
        if here is None:
            continue
        variable = case.model.plan.variables[name]
        value = with_unit(setting(here), variable.unit)
        start = "" if there is None else f"{setting(there)} to "
        parts.append(f"{variable.label} {start}{value}")
    if len(parts) > most:
        parts = [*parts[:most], f"{len(parts) - most} more"]
    return ", ".join(parts) if parts else "nothing (a repeat of the same recipe)"
