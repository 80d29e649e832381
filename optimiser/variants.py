"""Which variants are dead ends: levels and regions that can no longer hold the best recipe."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special, stats

from experiments.plan import Plan, Variable
from optimiser.answers import DeadEnds, Estimate, Variant
from optimiser.fitting import fit
from optimiser.hardly_tried import Level, hardly_tried, warning, worth_a_try
from optimiser.paths import DrawnFunctions
from optimiser.plates import Plate, places
from optimiser.pool import dense_pool, drawn_utility, repeatability
from optimiser.proposals import first_cones
from optimiser.surrogate import Model, Progress, estimate, unknown
from optimiser.threads import one_thread
from optimiser.wording import describe, ends, many, setting

__all__ = ["dead_ends"]

Floats = npt.NDArray[np.float64]
Codes = npt.NDArray[np.int32]

_DROP = 0.05
_REGIONS = 3
_NEXT = 10  # coming cones among which the saved ones are counted


@one_thread
def dead_ends(
    plan: Plan,
    trials: pd.DataFrame,
    seed: int = 0,
    *,
    model: Model | None = None,
    progress: Progress | None = None,
) -> DeadEnds:
    """Say which levels and regions can still hold the best recipe.

    Parameters
    ----------
    plan : Plan
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
    DeadEnds
        Each level of a choice and each third of a numeric range; for a variable that exists
        only in some recipes, the probability that it holds the best of those. 'drop' where the
        best lies with less than 5 % probability, by the upper 95 % limit that so many drawn
        functions allow (Clopper & Pearson 1934), and giving the variant up is expected to cost
        less than the repeatability of one cone; but not a level that `propose` may yet try
        because it was hardly tried (see `optimiser.hardly_tried`), which a note tells. What it
        saves is counted for the next ten cones, each spent where the best of one drawn function
        lies.

    Raises
    ------
    TrialsError
        A table that does not fit the plan.
    """
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    regions = [region for variable in plan.variables.values() for region in _regions(variable)]
    notes, calibration = list(model.notes), model.calibration()
    if not model.scorable:
        nothing = unknown(model.cones)
        blank = [
            region.judged(nothing.mean, nothing, "cannot tell yet", nothing) for region in regions
        ]
        measured = many(model.cones, "measured cone")
        text = f"Cannot tell yet which variants are dead ends: {measured}."
        return DeadEnds(blank, model.cones, calibration, notes, text)
    if progress:
        progress(0.5, "seeking the best recipe in drawn functions")
    functions = DrawnFunctions(model, seed=seed)
    codes, utility = dense_pool(model, functions, seed=seed)
    codes, utility = _fill_regions(model, functions, codes, utility, regions)
    spread = repeatability(model)
    found = [_judge(model, codes, utility, region, spread) for region in regions]
    found, open_still = _keep_hardly_tried(model, codes, found)
    notes += warning(open_still)
    labels = describe(plan)
    dropped = [f"{labels[v.variable]} {v.where}" for v in found if v.verdict == "drop"]
    text = (
        f"From {model.cones} cones: dead ends are {', '.join(dropped)}." + _saved_text(found)
        if dropped
        else f"From {model.cones} cones no variant can be given up yet."
    )
    return DeadEnds(found, model.cones, calibration, notes, text)


@dataclass(frozen=True)
class _Region:
    """Some settings of one variable, as places on its grid."""

    variable: Variable
    where: str
    places: npt.NDArray[np.intp]

    def judged(self, probability: float, loss: Estimate, verdict: str, saves: Estimate) -> Variant:
        """Give the answer about this region."""
        unit = self.variable.unit
        return Variant(
            variable=self.variable.name,
            where=f"{self.where} {unit}" if unit else self.where,
            settings=tuple(self.variable.grid[self.places].tolist()),
            probability=probability,
            loss=loss,
            verdict=verdict,
            cones=loss.cones,
            saves=saves,
        )


def _regions(variable: Variable) -> list[_Region]:
    """Each level of a choice; thirds of a numeric range, or its settings if there are few."""
    grid = variable.grid
    if variable.kind == "choice" or len(grid) <= _REGIONS + 1:
        return [
            _Region(variable, setting(value), np.array([place]))
            for place, value in enumerate(grid)
        ]
    parts = np.array_split(np.arange(len(grid)), _REGIONS)
    return [_Region(variable, ends(grid[p[0]], grid[p[-1]]), p) for p in parts]


def _keep_hardly_tried(
    model: Model, codes: Codes, found: list[Variant]
) -> tuple[list[Variant], list[Level]]:
    """Leave levels open that coming cones may try all the same; gives those levels, too."""
    kept, levels = list(found), []
    for level in hardly_tried(model, first_cones(model.plan)):
        name, value = level.variable.name, level.value
        own = (name, (value,))
        at = next(n for n, each in enumerate(found) if (each.variable, each.settings) == own)
        if found[at].verdict != "drop":
            continue
        having = Plate(model.evidence.space, places(model.plan, {name: value}))
        inside = codes[having.holds(codes)]
        if worth_a_try(model, model.encoding.of_codes(inside)).any():
            kept[at] = replace(found[at], verdict="undecided")
            levels.append(level)
    return kept, levels


def _saved_text(found: list[Variant]) -> str:
    """Say what giving up the dropped variants saves, one variant at a time."""
    most = max((v.saves for v in found if v.verdict == "drop"), key=lambda each: each.high)
    return (
        f" Giving one up saves at most about {most.high:.0f} of the next {_NEXT} cones, going by "
        "its chance of holding the best; what it saves in settings to think about is not counted."
    )


def _fill_regions(
    model: Model, functions: DrawnFunctions, codes: Codes, utility: Floats, regions: list[_Region]
) -> tuple[Codes, Floats]:
    """Make the pool as dense in every variant as around the best: move the best recipes there."""
    space, names = model.evidence.space, list(model.plan.variables)
    top = codes[np.argsort(-utility.mean(axis=0), kind="stable")[:12]]
    extra = [codes[:0]]
    for region in regions:
        column, places = names.index(region.variable.name), region.places
        inside = np.isin(codes[:, column], places)
        if inside.any():
            own = np.flatnonzero(inside)
            upper = utility[:, own].mean(axis=0) + utility[:, own].std(axis=0)
            extra.append(space.neighbour_codes(codes[own[np.argsort(-upper)[:3]]]))
        moved = np.repeat(top[top[:, column] >= 0], min(len(places), 3), axis=0)
        if len(moved):
            chosen = places[np.linspace(0, len(places) - 1, min(len(places), 3)).astype(int)]
            moved[:, column] = np.tile(chosen, len(moved) // len(chosen))
            extra.append(moved)
    new = np.unique(np.vstack(extra), axis=0)
    new = new[space.printable_codes(new)]
    if not len(new):
        return codes, utility
    return np.vstack([codes, new]), np.hstack([utility, drawn_utility(model, functions, new)])


def _upper(share: float, count: int) -> float:
    """Upper 95 % limit of a probability seen in so many draws (Clopper & Pearson 1934)."""
    wins = round(share * count)
    return float(special.betaincinv(wins + 1, count - wins, 0.95)) if wins < count else 1.0


def _judge(model: Model, codes: Codes, utility: Floats, region: _Region, spread: float) -> Variant:
    """Probability that the variant holds the best, loss of giving it up, verdict."""
    column = list(model.plan.variables).index(region.variable.name)
    visited = float(np.isin(codes[utility.argmax(axis=1), column], region.places).mean())
    active = codes[:, column] >= 0
    codes, utility = codes[active], utility[:, active]
    inside = np.isin(codes[:, column], region.places)
    if inside.all():
        return region.judged(1.0, unknown(model.cones), "keep", unknown(model.cones))
    best_in = utility[:, inside].max(axis=1, initial=-np.inf)
    best_out = utility[:, ~inside].max(axis=1)
    probability = float(np.mean(best_in > best_out))
    loss = estimate(np.maximum(best_in - best_out, 0.0), model.cones)
    if _upper(probability, len(utility)) < _DROP and loss.mean < spread:
        verdict = "drop"
    else:
        verdict = "keep" if probability >= 0.5 else "undecided"
    return region.judged(probability, loss, verdict, _saves(visited, model.cones))


def _saves(probability: float, cones: int) -> Estimate:
    """Cones of the next ten that probability matching would spend on a variant.

    Thompson (1933), On the likelihood that one unknown probability exceeds another, Biometrika
    25: each cone goes where one drawn function has its best. Their number is then binomial.
    """
    low, high = (stats.binom.ppf(level, _NEXT, probability) for level in (0.05, 0.95))
    return Estimate(_NEXT * probability, float(low), float(high), cones)
