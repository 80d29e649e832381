"""The front of metrics that pull apart: which measured recipes are on it, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import PlanError, Problem
from experiments.plan import Metric, Plan
from experiments.plan_metrics import MOST_TRADED
from optimiser.answers import Estimate, Front, Member
from optimiser.encoding import Points
from optimiser.fitting import fit
from optimiser.goals import Goals
from optimiser.hypervolume import Columns, hypervolume
from optimiser.surrogate import LEAST, Model, Progress, estimate, unknown
from optimiser.threads import one_thread
from optimiser.trading import VolumeImprovement
from optimiser.wording import covered, many, setting, with_unit

__all__ = ["Standing", "expected_values", "front", "position", "standing"]

Floats = npt.NDArray[np.float64]

_DRAWS = 64  # a hyperparameter set: a chance of one in a hundred is told
_ON = 0.5  # chance from which a recipe is said to be on the front


@dataclass(frozen=True)
class Standing:
    """How the measured recipes stand towards each other in the traded metrics.

    Parameters
    ----------
    model : Model
    members : list of Member
        Each measured recipe, in the order of the table.
    rises : ndarray of shape (draws, n, k)
        Their drawn positions between poor (0) and good (1).
    """

    model: Model
    members: list[Member]
    rises: Floats

    @property
    def volume(self) -> Estimate:
        """Hypervolume that they cover; 1 is the box from all poor to all good."""
        return estimate(hypervolume(self.rises), self.model.cones)

    def _means(self) -> Floats:
        """Positions of the expected values, (1, n, k)."""
        return np.stack([position(self.model, each.expected) for each in self.members])[None]

    def step(self, expected: Mapping[str, Estimate], known: Points | None = None) -> float:
        """Hypervolume that a recipe adds if every recipe is just what is expected of it.

        It is added to the measured recipes, or to those of `known`.
        """
        means = self._means()
        if known is not None:
            themselves = expected_values(self.model, known)
            means = np.stack([position(self.model, each) for each in themselves])[None]
        above = Columns.above(means)
        return float(above.added(position(self.model, expected)[None, None])[0, 0])

    def neighbour(self, expected: Mapping[str, Estimate]) -> Member:
        """Give the recipe on the front that is nearest in the traded metrics."""
        apart = np.linalg.norm(self._means()[0] - position(self.model, expected), axis=1)
        chances = np.array([member.chance for member in self.members])
        apart[chances < min(_ON, chances.max())] = np.inf
        return self.members[int(np.argmin(apart))]


def position(model: Model, expected: Mapping[str, Estimate]) -> Floats:
    """Give the position of expected values between poor (0) and good (1), shape (k,)."""
    goals = model.goals
    return goals.rises({name: np.array(expected[name].mean) for name in goals.needed})


def standing(model: Model) -> Standing | None:
    """Compare the measured recipes in the metrics with a goal.

    Parameters
    ----------
    model : Model

    Returns
    -------
    Standing or None
        None while no metric with a goal has a model, or no recipe has all those that have one.
    """
    goals, measured = model.goals, model.evidence.measured
    if not goals.metrics:
        return None
    names = [metric.name for metric in goals.metrics]
    measured = measured[measured[goals.needed].notna().all(axis=1)]
    if not len(measured):
        return None
    recipes = model.evidence.recipes(measured)
    group = recipes.groupby(list(recipes), dropna=False, sort=False).ngroup().to_numpy()
    firsts = recipes[~recipes.duplicated()]
    points = model.encoding(firsts)
    drawn = VolumeImprovement(model, points, incumbents=_DRAWS, seed=model.seed)
    themselves = expected_values(model, points)
    members = [
        Member(
            cones=measured["cone"][group == place].unique().tolist(),
            settings=model.evidence.space.settings(firsts.iloc[place]),
            expected=themselves[place],
            positions={
                name: estimate(drawn.rises_[:, place, axis], model.metrics[name].cones)
                for axis, name in enumerate(names)
            },
            chance=float(drawn.chances_[place]),
        )
        for place in range(len(firsts))
    ]
    return Standing(model, members, drawn.rises_)


def expected_values(model: Model, points: Points) -> list[dict[str, Estimate]]:
    """Foretell the metrics of recipes themselves, without the noise of a measurement."""
    found: list[dict[str, Estimate]] = [{} for _ in range(len(points))]
    for name in model.goals.needed:
        part = model.metrics[name]
        told = part.summary(*part.process.predict(points))
        for record, mean, low, high in zip(
            found, told["mean"], told["low"], told["high"], strict=True
        ):
            record[name] = Estimate(float(mean), float(low), float(high), part.cones)
    return found


@one_thread
def front(
    plan: Plan,
    trials: pd.DataFrame,
    seed: int = 0,
    *,
    between: Sequence[str] = (),
    model: Model | None = None,
    progress: Progress | None = None,
) -> Front:
    """Find the front between two or three metrics with a goal.

    Parameters
    ----------
    plan : Plan
        Its goal need not be ``"trade"``.
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    seed : int
        Repeats exactly on the same versions.
    between : sequence of str, optional
        The metrics that it lies between; all that have a goal by default.
    model : Model, optional
        From `fit` on the same plan and trials.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Front

    Raises
    ------
    PlanError
        Not two or three metrics with a goal, or one without `poor` and `good`.
    TrialsError
        A table that does not fit the plan.

    Notes
    -----
    The measured recipes' true values are drawn together from the posterior; a recipe is on the
    front of a draw if no other measured one is as good in every metric and better in one.
    """
    wanted = _wanted(plan, between)
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    if between:
        model = _only(model, wanted)
    if progress:
        progress(0.6, "drawing the front")
    found_standing = standing(model)
    names = [metric.name for metric in wanted]
    if found_standing is None or len(model.goals.metrics) < len(wanted):
        return Front(
            names, [], unknown(model.cones), model.cones, model.calibration(),
            list(model.notes), _cannot_tell(model, names),
        )  # fmt: skip
    order = sorted(found_standing.members, key=lambda each: -_rank(wanted[0], each))
    volume = found_standing.volume
    return Front(
        names, order, volume, model.cones, model.calibration(),
        [*model.notes, *_better_than_good(model, order)], _text(model, order, volume),
    )  # fmt: skip


def _rank(metric: Metric, member: Member) -> float:
    """Give how good a recipe is in one metric, hard limits apart."""
    if metric.goal == "target":
        return member.positions[metric.name].mean
    mean = member.expected[metric.name].mean
    return mean if metric.goal == "maximise" else -mean


def _wanted(plan: Plan, between: Sequence[str]) -> list[Metric]:
    """Give the metrics that the front lies between, in plan order."""
    goals = {name: each for name, each in plan.metrics.items() if each.goal != "watch"}
    strange = [name for name in between if name not in goals]
    if strange:
        expected = f"metrics with a goal: {', '.join(goals)}"
        raise PlanError(Problem("between", ", ".join(strange), expected))
    wanted = [each for name, each in goals.items() if not between or name in between]
    if 2 <= len(wanted) <= MOST_TRADED:
        return wanted
    where, found = ("between", "") if between else ("metrics", " with a goal")
    expected = "two or three, to draw a front between them"
    remedy = ""
    if len(wanted) > MOST_TRADED:
        remedy = f"Name two or three of them as between: {', '.join(goals)}."
    raise PlanError(Problem(where, many(len(wanted), "metric") + found, expected, remedy))


def _only(model: Model, wanted: list[Metric]) -> Model:
    """Let only some metrics count; hard limits on the others stay."""
    names = [metric.name for metric in wanted]
    metrics = {
        name: each if name in names else replace(each, goal="watch")
        for name, each in model.plan.metrics.items()
    }
    plan = replace(model.plan, metrics=metrics)
    return replace(model, plan=plan, goals=Goals(plan, model.metrics))


def _cannot_tell(model: Model, names: list[str]) -> str:
    """Answer while a metric has no model, or no recipe has them all."""
    lacking = [model.plan.metrics[name].label for name in names if name not in model.metrics]
    why = (
        f"{LEAST} measured values of {' and of '.join(lacking)} are needed"
        if lacking
        else ("no cone has a value of each metric")
    )
    return f"Cannot tell yet where the front lies: {many(model.cones, 'measured cone')}; {why}."


def _better_than_good(model: Model, members: list[Member]) -> list[str]:
    """Name the metrics in which recipes of the front are better than good, and what follows."""
    notes = []
    for metric in model.goals.metrics:
        better = [
            each.cones[0]
            for each in members
            if each.chance >= _ON and each.positions[metric.name].mean > 1
        ]
        if better:
            good = with_unit(setting(metric.good), metric.unit)
            notes.append(
                f"{metric.label}: better than good ({good}) on the front: cone"
                f"{'s' * (len(better) > 1)} {_listed(better)}. That counts beyond the box; if "
                "better values are worth having, move `good` in the plan further out."
            )
    return notes


def _text(model: Model, members: list[Member], volume: Estimate) -> str:
    """Two plain sentences."""
    between = _listed([metric.label for metric in model.goals.metrics])
    on = [each.cones[0] for each in members if each.chance >= _ON]
    of = many(len(members), "measured recipe")
    if on:
        verb = "is" if len(on) == 1 else "are"
        cones = f"cone{'s' * (len(on) > 1)} {_listed(on)}"
        head = f"{len(on)} of {of} {verb} probably on the front between {between}: {cones}"
    else:
        head = f"Cannot tell yet which of {of} are on the front between {between}"
    return f"{head}. The front covers {covered(volume)} (90 %, {many(model.cones, 'cone')})."


def _listed(words: list[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]]) if len(words) > 1 else words[0]
