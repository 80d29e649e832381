"""Why a cone was picked, in one plain sentence with its numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Metric
from optimiser.acquisition import NoisyImprovement
from optimiser.answers import Estimate, Member, Pick, Settings
from optimiser.fronts import Standing, expected_values, standing
from optimiser.goals import Goals, desirability
from optimiser.plates import SetUp
from optimiser.surrogate import LEAST, Leader, Model, estimate
from optimiser.trade_reasons import added_text, against_text
from optimiser.wording import (
    beside,
    doubt,
    duration,
    interval,
    many,
    percent,
    recipe_line,
    setting,
    with_unit,
)

__all__ = ["describe"]

Floats = npt.NDArray[np.float64]


def describe(
    model: Model,
    row: pd.DataFrame,
    kind: str,
    acquisition: NoisyImprovement | None,
    known: int,
    *,
    listed: bool = False,
    mates: int = 0,
    per: str | None = None,
    needed: SetUp | None = None,
) -> Pick:
    """Build the full record of a picked recipe.

    Parameters
    ----------
    model : Model
    row : DataFrame of shape (1, variables)
    kind : {'first', 'earlier', 'improve', 'confirm'}
        'improve' becomes 'explore' where the recipe itself is not expected to beat the leader, or
        by less than a tenth of what it promises.
    acquisition : NoisyImprovement or None
    known : int
        Recipes measured, pending or picked before.
    listed : bool
        Whether the choice is among recipes that somebody listed.
    mates : int
        Cones of the same plate picked before.
    per : {'minutes', 'money'}, optional
        Effort that the gain was divided by.
    needed : SetUp, optional
        What must be set up anew for it; None while no cone came before.

    Returns
    -------
    Pick
    """
    space, points = model.evidence.space, model.encoding(row)
    settings = space.settings(row.iloc[0])
    leader = model.leader()
    recipe_score = model.predict_score(row, noisy=False)[0]
    gains = np.array([np.nan]) if acquisition is None else acquisition.gain(points).ravel()
    gain = float(gains.mean())
    better = leader is not None and _better(model, recipe_score, leader)
    step = float("nan") if acquisition is None else float(acquisition.step(points)[0])
    trade = None
    if model.goals.trade and kind != "first" and (stand := standing(model)) is not None:
        itself = expected_values(model, points)[0]
        trade = _Trade(stand, stand.neighbour(itself), itself, estimate(gains, model.cones))
        better = stand.step(itself) > 0
        step = stand.step(itself, None if acquisition is None else acquisition.known)
    exploration = float("nan") if kind == "confirm" else _exploration(step, gain)
    if kind == "improve" and (not better or exploration > _MOSTLY):
        kind = "explore"
    base = trade.base if trade else _base(model, row, kind, leader)
    changes = _changes(base.settings, settings) if base else {}
    effort = space.effort(row).iloc[0]
    set_up = needed.minutes if needed else 0.0
    (printing,) = model.printability.estimate(points)
    pick = Pick(
        settings=settings,
        expected=model.expected(row)[0],
        score=model.predict_score(row)[0],
        why="",
        kind=kind,
        prints=printing.mean,
        minutes=float(effort["minutes"]) + set_up,
        money=float(effort["money"]),
        set_up=set_up if needed else float("nan"),
        set_ups=needed.variables if needed else [],
        gain=gain,
        exploration=exploration,
        departs_from=_as_number(base.cone) if base else None,
        changes=changes,
        printing=printing,
    )
    case = _Case(model, row, pick, leader, base, recipe_score, known, listed, mates, per, trade)
    return replace(pick, why=_sentence(case))


_MOSTLY = 0.9  # share of a pick's promise from which it is made to learn


def _better(model: Model, score: Estimate, leader: Leader) -> bool:
    return bool(model.goals.sign * (score.mean - leader.score.mean) > 0)


def _exploration(step: float, gain: float) -> float:
    """Share of a promised gain that the expected step does not account for."""
    if not np.isfinite([step, gain]).all():
        return float("nan")
    sure = max(step, 0.0)
    return 1.0 - min(sure / gain, 1.0) if gain > 0 else float(sure == 0)


@dataclass(frozen=True)
class _Base:
    """The cone that a pick is compared with."""

    cone: str
    settings: Settings


@dataclass(frozen=True)
class _Trade:
    """What the pick of a trading plan does to the front."""

    standing: Standing
    neighbour: Member
    itself: dict[str, Estimate]  # what the recipe is expected to have
    added: Estimate  # hypervolume

    @property
    def base(self) -> _Base:
        """The recipe on the front that it is compared with."""
        return _Base(self.neighbour.cones[0], self.neighbour.settings)

    @property
    def adds(self) -> str:
        return added_text(self.added, self.standing.volume)

    @property
    def against(self) -> str:
        return against_text(self.standing.model, self.neighbour, self.itself)


@dataclass(frozen=True)
class _Case:
    """What a sentence is made of."""

    model: Model
    row: pd.DataFrame
    pick: Pick
    leader: Leader | None
    base: _Base | None
    score: Estimate  # of the recipe itself
    known: int
    listed: bool
    mates: int
    per: str | None
    trade: _Trade | None = None  # of a plan that trades, once a front is known

    def has(self, variable: str) -> bool:
        """Whether the recipe has a variable."""
        return not pd.isna(self.row[variable].iloc[0])

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
        return _inside(self.interval(value))


def _inside(text: str) -> str:
    """Write an interval so that it can stand in parentheses."""
    return text.replace(" (", ", 90 %: ").replace(")", "")


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
    kind = case.pick.kind
    if kind == "confirm":
        return _repeat_sentence(case)
    if kind == "earlier":
        return _earlier_sentence(case)
    if kind == "first" or case.leader is None or case.base is None:
        return _first_sentence(case)
    if case.trade:
        return _trade_sentence(case, case.trade) + _promise(case) + _by_effort(case)
    rival = f"cone {case.leader.cone} ({case.name} {case.inside(case.leader.score)})"
    if kind == "improve":
        text = (
            f"Expected to improve on {rival} by {_step(case)}, to {case.interval(case.score)} of "
            f"the recipe itself{_mover(case)}, by changing {_change_text(case)}."
        )
    else:
        text = (
            f"Mostly to learn: {_newest(case)}. It departs from the nearest cone, "
            f"{case.base.cone}, by changing {_change_text(case)}; the recipe itself is expected "
            f"to have a {case.name} of {case.interval(case.score)}, so it may beat {rival}"
            f"{_hope(case)}."
        )
    return text + _promise(case) + _by_effort(case)


def _trade_sentence(case: _Case, trade: _Trade) -> str:
    """Say what the pick adds to the front, and what it gains and gives up."""
    start = "Expected"
    if case.pick.kind == "explore":
        start = f"Mostly to learn: {_newest(case)}. It is expected"
    return f"{start} {trade.adds}: {trade.against}, by changing {_change_text(case)}."


# Shares in words: the number stands on draws, and a second digit would change with the seed.
_SHARES = {
    0.1: "Hardly any", 0.29: "About a quarter", 0.42: "About a third", 0.58: "About half",
    0.71: "About two thirds", 0.83: "About three quarters", 0.99: "Nearly all", 1.0: "All",
}  # fmt: skip


def _promise(case: _Case) -> str:
    """Say how much of the promised gain is exploration; nothing while that is unknown."""
    share = case.pick.exploration
    if not np.isfinite(share):
        return ""
    words = next(words for most, words in _SHARES.items() if share <= most)
    return f" {words} of what it promises lies in what is not known yet."


def _by_effort(case: _Case) -> str:
    """Say by which effort the gain was divided, and how much of it this recipe takes."""
    if case.per is None:
        return ""
    pick = case.pick
    if case.per == "money":
        currency = case.model.plan.effort.currency
        cost = f"{pick.money:.2f} {currency}".strip()
        return f" Chosen by its gain for each {currency or 'unit of money'}: it costs {cost}."
    set_up = f", {duration(pick.set_up)} of set-up included" if pick.set_up > 0 else ", no set-up"
    known = "" if np.isnan(pick.set_up) else set_up
    return f" Chosen by its gain a minute: it takes {duration(pick.minutes)}{known}."


def _repeat_sentence(case: _Case) -> str:
    """Say why a recipe is printed again."""
    which = "of the list" if case.listed else "that can be printed"
    fits = " and fits this plate" if case.mates and _shared(case) else ""
    every = f"Every recipe {which}{fits} has its cone already"
    if case.leader is None or case.base is None:
        again = _cones_of(case)
        repeats = f"repeats cone{'s' * (len(again) > 1)} {' and '.join(again)}"
        lacks = "all the metrics to trade" if case.model.goals.trade else "a score"
        return f"{every}, so this one {repeats if again else 'is a repeat'}; none has {lacks} yet."
    shows = f"{every}; another cone of this one shows how well it repeats"
    if case.trade:
        chance = percent(case.trade.neighbour.chance)
        return f"{shows} (cone {case.base.cone}, on the front with probability {chance})."
    return (
        f"{shows} (best so far: cone "
        f"{case.base.cone}, {case.name} {case.inside(case.leader.score)})."
    )


def _cones_of(case: _Case) -> list[str]:
    """Name the cones that have the pick's recipe."""
    evidence = case.model.evidence
    own = case.row.iloc[0]
    found: list[str] = []
    for frame in (evidence.measured, evidence.pending):
        recipes = evidence.recipes(frame)
        same = (recipes == own) | (recipes.isna() & own.isna())
        found += frame["cone"][same.all(axis=1)].astype(str).tolist()
    return list(dict.fromkeys(found))


def _step(case: _Case) -> str:
    """Write the expected improvement on the leader."""
    assert case.leader is not None
    step = abs(case.score.mean - case.leader.score.mean)
    return with_unit(beside(step, case.score), case.model.goals.unit)


def _earlier_sentence(case: _Case) -> str:
    """Say that the first cone stands on an earlier experiment alone."""
    earlier = case.model.earlier
    assert earlier is not None
    which = "the listed recipes" if case.listed else "all recipes"
    return (
        f"No cone of this experiment is measured yet, so this one stands on "
        f"{many(earlier.cones, 'cone')} of the earlier experiment alone: of {which} they foretell "
        f"it the best {case.name}, {case.interval(case.score)}."
    )


def _first_sentence(case: _Case) -> str:
    """Say why a space-filling cone was taken."""
    cones, shared = case.model.cones, _shared(case)
    if not case.known:
        labels = [case.model.plan.variables[name].label for name in shared]
        apart = f"; cones of one plate share {', '.join(labels)}" if shared else ""
        return (
            "First cone: nothing is known yet, so the first cones are spread over the recipes"
            f"{' of the list' * case.listed}{apart}."
        )
    over = f"the recipes{' of the list' * case.listed}"
    if case.mates and shared:
        over += f" with {_settings_text(case, shared)}, which this plate's cones share"
    text = (
        f"Spreads the first cones over {over}: far from the "
        f"{many(case.known, 'recipe')} measured or planned"
    )
    measured = many(cones, "measured cone")
    if case.model.informed:
        return f"{text}; {measured} cannot tell yet how far to believe the earlier experiment."
    if cones and not _scored(case.model):
        lacking = "all the metrics to trade" if case.model.goals.trade else "a score"
        return f"{text}; {measured} without {lacking} yet."
    if case.model.scorable and cones >= LEAST:
        return f"{text}; the first ones are spread before a model chooses."
    return f"{text}; {measured} {'is' if cones == 1 else 'are'} too few to choose by a model."


def _scored(model: Model) -> bool:
    """Whether some measured cone has all that its score needs."""
    needed = Goals(model.plan).needed
    return bool(model.evidence.measured[needed].notna().all(axis=1).any())


def _shared(case: _Case) -> list[str]:
    """Name the settings of the pick that all cones of its plate share."""
    variables = case.model.plan.variables.values()
    return [each.name for each in variables if each.per == "plate" and case.has(each.name)]


def _mover(case: _Case) -> str:
    """Name the metric that carries most of the improvement, if there is more than one."""
    leader = case.leader
    best = _most_raised(case, lambda metric: case.pick.expected[metric.name].mean)
    if best is None or leader is None:
        return ""
    here = case.pick.expected
    old, new = (beside(each[best.name].mean, here[best.name]) for each in (leader.expected, here))
    # A model that misses by as much as the cones differ may say so by chance.
    doubted = doubt(case.model.calibration(), best.name)
    return f", mostly through {best.label} ({old} to {with_unit(new, best.unit)}{doubted})"


def _hope(case: _Case) -> str:
    """Name the metric whose better end would carry an improvement, if there is more than one."""
    leader, here = case.leader, case.pick.expected
    best = _most_raised(case, lambda metric: _better_end(metric, here[metric.name]))
    if best is None or leader is None:
        return ""
    old = beside(leader.expected[best.name].mean, here[best.name])
    new = _inside(interval(here[best.name], best.unit))
    return f", most likely through {best.label} ({new}; cone {leader.cone}: {old})"


def _most_raised(case: _Case, value: Callable[[Metric], float]) -> Metric | None:
    """Give the metric that a value of each lifts most over the leader; None if none does."""
    model, leader = case.model, case.leader
    if model.goals.raw is not None or len(model.goals.metrics) < 2 or leader is None:
        return None

    def rise(metric: Metric) -> float:
        old = desirability(metric, leader.expected[metric.name].mean)
        return metric.weight * float(desirability(metric, value(metric)) - old)

    best = max(model.goals.metrics, key=rise)
    return best if rise(best) > 0 else None


def _better_end(metric: Metric, foretold: Estimate) -> float:
    """Give the most desirable value within a 90 % interval."""
    ends = (foretold.low, foretold.high)
    if metric.goal == "target" and metric.good is not None:
        return float(np.clip(metric.good, *ends))
    return max(ends, key=lambda end: float(desirability(metric, end)))


# Share of a variable's range from which a setting is unlike another one. Within a tenth, models
# of so few cones hardly ever tell two settings apart, and nobody would call the nearer one new.
_NEW = 0.1


def _newest(case: _Case) -> str:
    """Say what no measured cone has had: a setting, else two together, else the whole."""
    gaps = _gaps(case.model, case.row)
    alone = {name: float(gap.min()) for name, gap in gaps.items()}
    if max(alone.values(), default=0.0) > _NEW:
        best = max(alone, key=lambda name: alone[name])
        nearest = _nearest(case, best, int(np.argmin(gaps[best])))
        return f"nothing like {_settings_text(case, [best])} has been measured{nearest}"
    pairs = {
        (one, other): float(np.hypot(gaps[one], gaps[other]).min())
        for one, other in combinations(gaps, 2)
    }
    if max(pairs.values(), default=0.0) > _NEW:
        one, other = max(pairs, key=lambda pair: pairs[pair])
        both = f"{_settings_text(case, [one])} together with {_settings_text(case, [other])}"
        return f"no measured cone has {both}"
    differ = [name for name in case.pick.changes if name in gaps] or list(gaps)
    return f"no measured cone joins {_settings_text(case, differ[:3])}"


def _nearest(case: _Case, name: str, place: int) -> str:
    """Name the nearest setting that was measured, where that is a number."""
    variable, measured = case.model.plan.variables[name], case.model.evidence.measured
    near = measured[name].iloc[place]
    if not variable.numeric or pd.isna(near):
        return ""
    return f" (nearest: {with_unit(setting(near), variable.unit)})"


def _settings_text(case: _Case, names: list[str]) -> str:
    """Write some settings of the pick."""
    return recipe_line(case.model.plan, {name: case.row[name].iloc[0] for name in names})


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


def _change_text(case: _Case, most: int = 3) -> str:
    """List the first few changed settings."""
    parts = []
    for name, (there, here) in case.pick.changes.items():
        if here is None:
            continue
        variable = case.model.plan.variables[name]
        value = with_unit(setting(here), variable.unit)
        start = "" if there is None else f"from {setting(there)} to "
        parts.append(f"{variable.label} {start}{value}")
    if len(parts) > most:
        parts = [*parts[:most], f"{len(parts) - most} more"]
    return ", ".join(parts) if parts else "nothing (a repeat of the same recipe)"
