"""Why a cone was picked, in one plain sentence with its numbers."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Metric
from optimiser.acquisition import NoisyImprovement
from optimiser.answers import Estimate, Member, Pick
from optimiser.departures import Base, base_of, change_text, changes_of, newest, settings_text
from optimiser.fronts import Standing, expected_values, standing
from optimiser.goals import Goals, desirability
from optimiser.hardly_tried import Level
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
    level: Level | None = None,
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
    level : Level, optional
        The level for which it was taken, so that this is not given up untried.

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
    if kind == "improve" and (level or not better or exploration > _MOSTLY):
        kind = "explore"
    base = trade.base if trade else base_of(model, row, kind, leader)
    changes = changes_of(base.settings, settings) if base else {}
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
    case = _Case(
        model, row, pick, leader, base, recipe_score, known, listed, mates, per, trade, level
    )
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
class _Trade:
    """What the pick of a trading plan does to the front."""

    standing: Standing
    neighbour: Member
    itself: dict[str, Estimate]  # what the recipe is expected to have
    added: Estimate  # hypervolume

    @property
    def base(self) -> Base:
        """The recipe on the front that it is compared with."""
        return Base(self.neighbour.cones[0], self.neighbour.settings)

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
    base: Base | None
    score: Estimate  # of the recipe itself
    known: int
    listed: bool
    mates: int
    per: str | None
    trade: _Trade | None = None  # of a plan that trades, once a front is known
    level: Level | None = None  # hardly tried, and why it was picked

    def has(self, variable: str) -> bool:
        """Whether the recipe has a variable."""
        return not pd.isna(self.row[variable].iloc[0])

    @property
    def changed(self) -> str:
        """What differs from the cone that it is compared with."""
        return change_text(self.model, self.pick.changes)

    @property
    def newest(self) -> str:
        """What no measured cone has had."""
        return newest(self.model, self.row, self.pick.changes)

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
            f"the recipe itself{_mover(case)}, by changing {case.changed}."
        )
    else:
        # A level that is tried for its few cones need not be expected to win.
        hope = f"so it may beat {rival}{_hope(case)}" if _may_win(case) else f"beside {rival}"
        text = _for_level(case) + (
            f"Mostly to learn: {case.newest}. It departs from the nearest cone, "
            f"{case.base.cone}, by changing {case.changed}; the recipe itself is expected "
            f"to have a {case.name} of {case.interval(case.score)}, {hope}."
        )
    promise = _promise(case) if case.level is None else ""
    return text + promise + _by_effort(case)


def _may_win(case: _Case) -> bool:
    """Whether the pick was taken to win, and its interval reaches up to the leader's."""
    if case.level is not None or case.leader is None:
        return False
    here, there = case.score, case.leader.score
    return here.high >= there.low if case.model.goals.sign > 0 else here.low <= there.high


def _for_level(case: _Case) -> str:
    """Say which level the pick is for, and why; empty where it was picked for what it promises."""
    level = case.level
    if level is None:
        return ""
    start = "Beside the cones before it, one elsewhere" if case.mates else "Elsewhere a cone"
    # Planned ones and those just picked count, so they were not all tried yet.
    here = ", this plate's among them" if case.mates else ""
    tries = (
        f"has only {many(level.tries, 'recipe')} so far{here}, too few to give it up"
        if level.tries
        else "has no recipe yet"
    )
    return f"{start} gains too little to show, and {level.name} {tries}. "


def _trade_sentence(case: _Case, trade: _Trade) -> str:
    """Say what the pick adds to the front, and what it gains and gives up."""
    start = "Expected"
    if case.pick.kind == "explore":
        start = f"Mostly to learn: {case.newest}. It is expected"
    return f"{start} {trade.adds}: {trade.against}, by changing {case.changed}."


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
        some = settings_text(case.model, case.row, shared)
        over += f" with {some}, which this plate's cones share"
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
