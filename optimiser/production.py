"""The recipe to go into production, robust to what the printer makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Plan
from optimiser.answers import Estimate, Settings
from optimiser.appraisal import Appraisal
from optimiser.confirmation import plan_confirmation
from optimiser.contenders import (
    Contenders,
    clearly_different,
    distance,
    find_contenders,
    measured_recipes,
)
from optimiser.fitting import fit
from optimiser.hinges import find_hinge
from optimiser.paths import DrawnFunctions
from optimiser.production_words import cannot_tell, recommendation_text
from optimiser.proposals import first_cones
from optimiser.records.production import Candidate, Nearby, Recommendation
from optimiser.surrogate import Model, Progress, estimate, unknown
from optimiser.threads import one_thread
from optimiser.tolerance import strays

__all__ = ["recommend"]

Floats = npt.NDArray[np.float64]

_RUNNERS_UP = 3
_NEAREST = 3


@one_thread
def recommend(
    plan: Plan,
    trials: pd.DataFrame,
    seed: int = 0,
    *,
    model: Model | None = None,
    progress: Progress | None = None,
) -> Recommendation:
    """Say which recipe to go into production with, and how to confirm it.

    Parameters
    ----------
    plan : Plan
        Its variables' `tolerance` says how far the printer strays from their settings; without
        any the printer counts as exact.
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    seed : int
        Repeats exactly on the same versions.
    model : Model, optional
        From `fit` on the same plan and trials.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Recommendation
        The printable recipe with the best expected score over what the printer makes of it,
        among those of which at least 0.8 of the prints come off the printer and keep every hard
        limit; where none does, among those that come within 0.95 of the best such share. Where
        the plan trades its metrics, this is told of the score all the same.

    Raises
    ------
    TrialsError
        A table that does not fit the plan.
    """
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    notes = [*model.notes, *_remarks(plan)]
    fewest = min((model.metrics[name].cones for name in model.goals.needed), default=0)
    needed = first_cones(plan) // 2 + 1
    if not model.scorable or fewest < needed:
        return _nothing(model, notes, needed - fewest)
    if progress:
        progress(0.3, "seeking the best recipe as the printer makes it")
    functions = DrawnFunctions(model, seed=seed)
    found = find_contenders(model, functions, seed=seed, progress=progress)
    return _Judge(model, found, notes, seed).answer(progress)


class _Judge:
    """Puts the answer together from the contenders and their drawn worth."""

    def __init__(self, model: Model, found: Contenders, notes: list[str], seed: int) -> None:
        self.model, self.found, self.made = model, found, found.made
        self.notes, self.seed = notes, seed
        self.appraisal = Appraisal(model, found.straying)
        self.best = int(found.order[0])
        self.exact = int(found.exact_order[0])
        measured = model.evidence.measured["cone"]
        self.cones = _cones(measured_recipes(model), measured, found.recipes)
        own = [place for place, cones in enumerate(self.cones) if cones]
        self.measured = own[int(np.argmax(found.worth[own]))] if own else None

    def answer(self, progress: Progress | None) -> Recommendation:
        model, found, made = self.model, self.found, self.made
        ranked = found.order
        rivals = ranked[clearly_different(model.plan, found.recipes.iloc[ranked], _RUNNERS_UP)]
        others = [("best if exact", self.exact)] if self.exact != self.best else []
        if self.measured is not None and self.measured != self.best:
            others.append(("best measured", self.measured))
        others += [("runner-up", int(place)) for place in rivals]
        if progress:
            progress(0.85, "planning the confirmation run")
        rival = float(made.worth[:, rivals[0]].mean()) if len(rivals) else float("nan")
        row = found.recipes.iloc[[self.best]]
        answer = Recommendation(
            recipe=self._candidate("recommended", self.best),
            others=[self._candidate(role, place) for role, place in others],
            cost=self._difference(made.exact, self.exact),
            gain=self._difference(-made.worth, self.exact),
            within=self._within(),
            kept=estimate(made.kept(self.best), model.cones),
            outside=found.straying.outside(row),
            over_rules=found.straying.over_rules(model.evidence.space, row),
            expected=model.expected(row)[0],
            nearest=self._nearest(),
            hinge=find_hinge(model, made, self.best, int(rivals[0])) if len(rivals) else None,
            confirmation=plan_confirmation(model, made.of(self.best), rival, seed=self.seed),
            cones=model.cones,
            calibration=model.calibration(),
            notes=self.notes,
            text="",
        )
        return replace(answer, text=recommendation_text(model, answer))

    def _difference(self, worth: Floats, place: int) -> Estimate:
        """Worth of one recipe less that of the recommended one."""
        return estimate(worth[:, place] - worth[:, self.best], self.model.cones)

    def _candidate(self, role: str, place: int) -> Candidate:
        model, made, best = self.model, self.made, self.best
        sign, cones = model.goals.sign, model.cones
        row = self.found.recipes.iloc[[place]]
        ahead = made.worth[:, place] - made.worth[:, best]
        (printing,) = model.printability.estimate(model.encoding(row))
        return Candidate(
            role=role,
            settings=model.evidence.space.settings(row.iloc[0]),
            made=estimate(sign * made.worth[:, place], cones),
            exact=estimate(sign * made.exact[:, place], cones),
            behind=estimate(made.worth[:, best] - made.worth[:, place], cones),
            beats=float("nan") if place == best else float(np.mean(ahead > 0)),
            limits=self.appraisal.limits(row),
            prints=printing.mean,
            sound=float(self.found.sound[place]),
            cones=self.cones[place],
            printing=printing,
        )

    def _within(self) -> dict[float, float]:
        """Probability that the recipe is near the best of all that may be chosen."""
        drawn = self.made.worth
        top = drawn[:, np.union1d(self.found.order, [self.best])].max(axis=1)
        gap = top - drawn[:, self.best]
        return {share: float(np.mean(gap <= share * np.abs(top))) for share in (0.01, 0.02, 0.05)}

    def _nearest(self) -> list[Nearby]:
        """Name the measured cones that are nearest to the recipe."""
        away = distance(self.model.plan, self.found.recipes, self.best)
        own = [place for place, cones in enumerate(self.cones) if cones]
        own.sort(key=lambda place: away[place])
        here = self._settings(self.best)
        near: list[Nearby] = []
        for place in own:
            there = self._settings(place)
            names = [n for n in self.model.plan.variables if there.get(n) != here.get(n)]
            changes = {name: (there.get(name), here.get(name)) for name in names}
            near += [Nearby(cone, changes) for cone in self.cones[place]]
        return near[:_NEAREST]

    def _settings(self, place: int) -> Settings:
        return self.model.evidence.space.settings(self.found.recipes.iloc[place])


def _cones(recipes: pd.DataFrame, cones: pd.Series, listed: pd.DataFrame) -> list[list[str]]:
    """Give the measured cones of just each listed recipe."""
    keys = [tuple(map(str, row)) for row in recipes.itertuples(index=False)]
    by_key: dict[tuple[str, ...], list[str]] = {}
    for key, cone in zip(keys, cones, strict=True):
        known = by_key.setdefault(key, [])
        if str(cone) not in known:
            known.append(str(cone))
    return [by_key.get(tuple(map(str, row)), []) for row in listed.itertuples(index=False)]


def _remarks(plan: Plan) -> list[str]:
    """Say what was taken for granted."""
    notes: list[str] = []
    if plan.goal == "trade":
        notes.append("The plan trades its metrics; the recipe is chosen by the score.")
    if plan.age is not None:
        age = f"{plan.age.at:g} {plan.age.clock.replace('_', ' ')}"
        notes.append(
            f"The plan judges cones at {age}: what the confirmation run must show is meant of "
            "cones of that age."
        )
    if not strays(plan):
        notes.append(
            "No variable states a tolerance, so the printer counts as exact: the plan may say how "
            "far it strays, tolerance = ... in [variables.NAME]."
        )
    else:
        notes.append(
            "The model learns from settings as recorded. Record what was really made (`printed "
            "--set`), else the printer's straying counts twice and flat peaks are favoured."
        )
    return notes


def _nothing(model: Model, notes: Sequence[str], more: int) -> Recommendation:
    nothing = unknown(model.cones)
    return Recommendation(
        None, [], nothing, nothing, {}, nothing, float("nan"), float("nan"), {}, [], None, None,
        model.cones, model.calibration(), list(notes), cannot_tell(model, more),
    )  # fmt: skip
