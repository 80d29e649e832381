"""Which cone to print next, and why."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import Problem, TrialsError
from experiments.plan import Plan
from experiments.space import Space
from optimiser.acquisition import NoisyImprovement
from optimiser.answers import Pick
from optimiser.encoding import Encoding, Points
from optimiser.fitting import fit
from optimiser.foretold import Foretold
from optimiser.hardly_tried import Level, hardly_tried, little_left, worth_a_try
from optimiser.plates import Plate, places, set_up, set_up_minutes
from optimiser.reasons import describe
from optimiser.search import best_codes
from optimiser.surrogate import Model, Progress
from optimiser.threads import one_thread
from optimiser.trading import VolumeImprovement
from optimiser.wording import setting

__all__ = ["first_cones", "most_promising", "propose"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]

_FEW = 8  # recipes of a level hardly tried that are looked at
_LEAST_COST = {"minutes": 1.0, "money": 0.01}


def first_cones(plan: Plan) -> int:
    """Cones that are spread over the printable recipes before the model is asked.

    One more than there are variables, but at least 4 and at most 8. Failed prints count: they
    are spread too, and what they tell is learnt.
    """
    return int(np.clip(len(plan.variables) + 1, 4, 8))


@one_thread
def propose(
    plan: Plan,
    trials: pd.DataFrame,
    count: int = 1,
    seed: int = 0,
    candidates: pd.DataFrame | None = None,
    *,
    keep: Mapping[str, Any] | None = None,
    per: str | None = None,
    earlier: pd.DataFrame | None = None,
    model: Model | None = None,
    progress: Progress | None = None,
) -> list[Pick]:
    """Choose the next cones to print.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`). Planned and printed cones count as pending.
        May be empty.
    count : int
        How many cones, to be printed before any of them is measured.
    seed : int
        Repeats exactly on the same versions.
    candidates : DataFrame, optional
        A shortlist of recipes to choose from; rows are given as they are.
    keep : mapping of str to value, optional
        Settings that every pick must have.
    per : {'minutes', 'money'}, optional
        Value a recipe by its expected gain for each minute, set-up included, or for each unit of
        money, instead of by the gain alone. The first cones are spread all the same.
    earlier : DataFrame, optional
        Trials of a finished experiment with the same variables, to learn from as far as it
        agrees (see `fit`).
    model : Model, optional
        From `fit` on the same plan, trials and earlier trials, to save learning it again.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    list of Pick
        Different recipes, best first; fewer than `count` only when fewer exist that can share
        a plate.

    Raises
    ------
    TrialsError
        `trials`, `candidates` or `keep` do not fit the plan, no recipe has the settings to keep,
        or the plan has no formula for the effort.
    ValueError
        `count` is below 1, or `per` is another word.

    Notes
    -----
    The first cones fill the space; where an earlier experiment is learnt from, the first one is
    the recipe that it foretells the best score. From then on noisy expected improvement of the
    score (see `NoisyImprovement`), or of the hypervolume under the front where the plan trades
    (see `VolumeImprovement`), is maximised over printable recipes, times the probability that the
    recipe prints; cones picked earlier in the call count as pending for the later ones, and
    share with them every variable marked ``per = "plate"``. Where the best improvement of the
    score is too little to show, a level of a choice with fewer tries than there are first cones
    is tried instead (see `optimiser.hardly_tried`).
    """
    if count < 1:
        raise ValueError(f"count must be 1 or more, found {count}")
    if per not in (None, "minutes", "money"):
        raise ValueError(f"per must be 'minutes' or 'money', found {per!r}")
    if per and getattr(plan.effort, per) is None:
        raise TrialsError(Problem(f"effort.{per}", "no formula", "one, to choose by it"))
    if model is None:
        model = fit(plan, trials, seed, earlier=earlier, progress=progress)
    chooser = _Chooser(model, candidates, seed, places(plan, keep or {}), per)
    picks: list[Pick] = []
    for place in range(count):
        if progress:
            progress(place / count, f"choosing cone {place + 1} of {count}")
        pick = chooser.choose()
        if pick is None:
            break
        picks.append(pick)
    return picks


def most_promising(model: Model, seed: int = 0) -> Pick | None:
    """Give the one cone that `propose` expects most of, levels hardly tried left aside.

    Parameters
    ----------
    model : Model
        What is known; every printable recipe is open.
    seed : int
        Repeats exactly on the same versions.

    Returns
    -------
    Pick or None
        None where there is no recipe.
    """
    return _Chooser(model, None, seed, {}, None, levels=False).choose()


class _Chooser:
    """Picks one recipe after another, each knowing those before.

    `levels` says whether one hardly tried may be tried where little is left to gain.
    """

    def __init__(
        self,
        model: Model,
        candidates: pd.DataFrame | None,
        seed: int,
        kept: dict[int, int],
        per: str | None,
        *,
        levels: bool = True,
    ) -> None:
        self.model = model
        self.per = per
        self.seed = seed
        self.levels = levels
        self.space: Space = model.evidence.space
        self.encoding: Encoding = model.encoding
        evidence = model.evidence
        self.known = evidence.known
        self.measured = len(evidence.recipes(evidence.measured).drop_duplicates())
        self.tried = evidence.recipes(evidence.failed)
        self.picked: list[pd.DataFrame] = []
        self.candidates = None if candidates is None else _shortlist(model, candidates)
        self.plate = Plate(self.space, kept)
        latest = evidence.latest
        self.before = None if latest is None else self.space.codes(latest.to_frame().T)[0]
        if kept and self.candidates is None:
            self._refuse_unprintable()

    def choose(self) -> Pick | None:
        """Give the next pick, or None when no other recipe is left."""
        plan = self.model.plan
        enough = max(LEAST_RECIPES, first_cones(plan) // 2)
        filling = (
            not self.model.scorable
            or self.measured < enough
            or len(self._excluded().drop_duplicates()) < min(first_cones(plan), self._available())
        )
        if self.model.informed:
            # One cone on trust, then as many spread ones as it takes to judge the agreement.
            filling = bool(len(self.known)) and not self.model.judged
        kind = "first" if filling else "improve" if len(self.known) else "earlier"
        acquisition = self._improvement() if kind == "improve" else None
        worth = Foretold(self.model) if kind == "earlier" else acquisition
        row = self._pick_filling() if worth is None else self._pick_best(worth)
        level = None
        if row is None:
            row, kind = self._pick_repeat(), "confirm"
            if row is None:
                return None
        elif acquisition is not None and self.levels:
            row, level = self._or_hardly_tried(row, acquisition)
        codes = self.space.codes(row)[0]
        pick = describe(
            self.model,
            row,
            kind,
            acquisition,
            len(self.known),
            listed=self.candidates is not None,
            mates=len(self.picked),
            per=self.per,
            needed=None if self.before is None else set_up(self.space, self.before, codes),
            level=level,
        )
        self.before = codes
        self.picked.append(row)
        self.plate.take(codes)
        self.known = pd.concat([self.known, row], ignore_index=True).drop_duplicates(
            ignore_index=True
        )
        return pick

    def _refuse_unprintable(self) -> None:
        """Refuse settings to keep that no printable recipe has, as far as a wide search tells."""
        if not len(self.plate.onto(self.space.sample_codes(4096, self.seed))):
            variables = list(self.model.plan.variables.values())
            kept = ", ".join(
                f"{variables[column].name}={setting(variables[column].grid[place])}"
                for column, place in self.plate.kept.items()
            )
            raise TrialsError(Problem("keep", kept, "settings that a printable recipe has"))

    def _log_cost(self, codes: Codes) -> Floats:
        """Logarithm of what each recipe costs, in the unit of choice; 0 without one."""
        if self.per is None:
            return np.zeros(len(codes))
        cost = self.space.effort(self.space.frame(codes))[self.per].to_numpy(dtype=float)
        if self.per == "minutes" and self.before is not None:
            cost = cost + set_up_minutes(self.space, self.before, codes)
        # A recipe that costs nothing by the formula is not infinitely good.
        return np.asarray(np.log(np.maximum(np.nan_to_num(cost), _LEAST_COST[self.per])))

    def _available(self) -> float:
        if self.candidates is not None:
            return float(len(self.candidates))
        return float(self.space.count(limit=10_000).number)

    def _improvement(self) -> NoisyImprovement:
        kind = VolumeImprovement if self.model.goals.trade else NoisyImprovement
        return kind(self.model, self.encoding(self.known), seed=self.seed)

    def _excluded(self) -> pd.DataFrame:
        """Recipes not to propose: known already, failed, or picked."""
        frames = [self.known, self.tried, *self.picked]
        return pd.concat([frame for frame in frames if len(frame)] or [self.known])

    def _left(self) -> pd.DataFrame | None:
        """Candidates that are still open."""
        if self.candidates is None:
            return None
        names = list(self.candidates)
        gone = set(_keys(self._excluded()[names]))
        keep = np.array([key not in gone for key in _keys(self.candidates)], dtype=bool)
        return self.candidates[keep & self._fitting(self.candidates)]

    def _fitting(self, recipes: pd.DataFrame) -> npt.NDArray[np.bool_]:
        """Tell which recipes can share the plate of those picked."""
        return self.plate.holds(self.space.codes(recipes))

    def _pick_best(self, acquisition: NoisyImprovement | Foretold) -> pd.DataFrame | None:
        left = self._left()
        if left is not None:
            if not len(left):
                return None
            return self._best_of(left, acquisition)

        def value(codes: Codes, rough: bool = False) -> Floats:
            points = self.encoding.of_codes(codes)
            return acquisition.log_value(points, rough=rough) - self._log_cost(codes)

        codes = best_codes(
            self.space,
            value,
            self._ranked(acquisition),
            rough=partial(value, rough=True),
            seed=self.seed + 7919 * len(self.picked),
            exclude=self.space.codes(self._excluded()),
            onto=self.plate.onto,
        )
        return None if codes is None else self.space.frame(codes[None, :])

    def _best_of(
        self, recipes: pd.DataFrame, acquisition: NoisyImprovement | Foretold
    ) -> pd.DataFrame:
        """Give the most valuable of some recipes."""
        worth = acquisition.log_value(self.encoding(recipes))
        best = int(np.argmax(worth - self._log_cost(self.space.codes(recipes))))
        return recipes.iloc[[best]].reset_index(drop=True)

    def _or_hardly_tried(
        self, row: pd.DataFrame, acquisition: NoisyImprovement
    ) -> tuple[pd.DataFrame, Level | None]:
        """Give the pick, or if it gains too little one of a level hardly tried, and that level.

        A level that is to be kept has no rival here: within it the model chooses.
        """
        names = list(self.model.plan.variables)
        kept = {names[column] for column in self.plate.kept}
        levels = [
            level
            for level in hardly_tried(self.model, first_cones(self.model.plan), self.picked)
            if level.variable.name not in kept
        ]
        if not levels or not little_left(self.model, acquisition, self.encoding(row)):
            return row, None
        for level in levels:
            some = self._of_level(level)
            some = some[worth_a_try(self.model, self.encoding(some))]
            if len(some):
                return self._best_of(some, acquisition), level
        return row, None

    def _of_level(self, level: Level) -> pd.DataFrame:
        """Give a few recipes of a level, spread over its other settings.

        Few, for the model's favourite among many would be the same corner again and again.
        """
        left, done = self._left(), len(self._excluded())
        if left is not None:
            some = left[level.among(left)]
            order = np.random.default_rng([self.seed, done]).permutation(len(some))
            return some.iloc[order[:_FEW]]
        kept = places(self.model.plan, {level.variable.name: level.value}) | self.plate.kept
        plate = Plate(self.space, kept, self.plate.shared)
        some = self._design(_FEW * len(level.variable.grid), self.seed + done, plate)
        return some[level.among(some) & self._fitting(some)]

    def _ranked(self, acquisition: NoisyImprovement | Foretold) -> Codes:
        """Known recipes' codes, the most promising first."""
        if not len(self.known):
            return np.asarray(self.space.codes(self.known))
        order = np.argsort(-self._heights(self.known, acquisition), kind="stable")
        return np.asarray(self.space.codes(self.known.iloc[order]))

    def _heights(
        self, recipes: pd.DataFrame, acquisition: NoisyImprovement | Foretold | None = None
    ) -> Floats:
        """Say how good known recipes are: their score, or their chance of being on the front.

        An acquisition of these very recipes has drawn their front already.
        """
        if isinstance(acquisition, VolumeImprovement):
            return acquisition.chances_
        if self.model.goals.trade and self.model.scorable:
            points = self.encoding(recipes)
            return VolumeImprovement(self.model, points, seed=self.seed).chances_
        scores = self.model.predict_score(recipes, noisy=False)
        height = self.model.goals.sign * np.array([score.mean for score in scores])
        return np.asarray(np.nan_to_num(height, nan=-np.inf))

    def _pick_filling(self) -> pd.DataFrame | None:
        """Give the recipe farthest from all known ones, out of an evenly spread design."""
        left = self._left()
        if left is None:
            size, seed = first_cones(self.model.plan), self.model.plan.seed + self.seed
            left = self._design(size, seed, self.plate)
        if not len(left):
            return None
        points = self.encoding(left)
        taken = self._excluded()
        if not len(taken):
            return left.iloc[[0]].reset_index(drop=True)
        nearest = _distance(points, self.encoding(taken)).min(axis=1)
        worth = nearest * self.model.printability(points)
        return left.iloc[[int(np.argmax(worth))]].reset_index(drop=True)

    def _design(self, size: int, seed: int, plate: Plate) -> pd.DataFrame:
        """Give an evenly spread design less what was tried; more of it if all was tried."""
        gone = set(_keys(self._excluded()))
        for factor in (1, 4, 64):
            codes = self.space.sample_codes(size * factor, seed)
            design = self.space.frame(plate.onto(codes))
            design = design[[key not in gone for key in _keys(design)]]
            if len(design):
                return design
        return design

    def _pick_repeat(self) -> pd.DataFrame | None:
        """When all was printed: the leader again, then the next best; never twice in a call."""
        names = list(self.model.plan.variables)
        pool = self.known if self.candidates is None else self.candidates
        done = {key for frame in self.picked for key in _keys(frame[names])}
        new = np.array([key not in done for key in _keys(pool)], dtype=bool)
        pool = pool[new & self._fitting(pool)]
        if not len(pool):
            return None
        return pool.iloc[[int(np.argmax(self._heights(pool)))]].reset_index(drop=True)


LEAST_RECIPES = 3  # different measured recipes before the model chooses


def _keys(frame: pd.DataFrame) -> list[tuple[object, ...]]:
    """Give a comparable key a row, NaN and None alike."""
    return [
        tuple(None if pd.isna(value) else value for value in row)
        for row in frame.itertuples(index=False, name=None)
    ]


def _distance(a: Points, b: Points) -> Floats:
    """Euclidean distance, a differing choice counting 1."""
    numbers = ((a.numbers[:, None, :] - b.numbers[None, :, :]) ** 2).sum(axis=2)
    return np.asarray(np.sqrt(numbers + (a.levels[:, None, :] != b.levels[None, :, :]).sum(2)))


def _shortlist(model: Model, candidates: pd.DataFrame) -> pd.DataFrame:
    """Check a shortlist and blank what is inactive in it."""
    plan, space = model.plan, model.evidence.space
    unconditional = [name for name, v in plan.variables.items() if not v.only_when]
    missing = [name for name in unconditional if name not in candidates]
    if missing:
        raise TrialsError(
            *[
                Problem(f"candidates, column {name}", "no such column", "a value a row")
                for name in missing
            ]
        )
    frame = pd.DataFrame(index=range(len(candidates)))
    for name, variable in plan.variables.items():
        blank = np.nan if variable.numeric else None
        values = candidates[name].tolist() if name in candidates else [blank] * len(frame)
        if variable.numeric:
            frame[name] = pd.to_numeric(pd.Series(values), errors="coerce").astype(float)
        else:
            frame[name] = pd.Series(
                [None if pd.isna(value) else str(value) for value in values], dtype=object
            )
    active = space.active(frame)
    problems = []
    for name, variable in plan.variables.items():
        here = active[name].to_numpy(dtype=bool)
        frame[name] = frame[name].where(here, np.nan if variable.numeric else None)
        for row in np.flatnonzero(here & frame[name].isna().to_numpy(dtype=bool)):
            problems.append(Problem(f"candidates, row {row}, column {name}", "no value", "one"))
    if problems:
        raise TrialsError(*problems)
    return frame.drop_duplicates(ignore_index=True)
