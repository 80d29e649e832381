"""The recipes that may go into production: found, valued as made, and told apart."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.plan import Plan, Variable
from optimiser.appraisal import Appraisal, Made
from optimiser.paths import DrawnFunctions
from optimiser.pool import dense_pool
from optimiser.search import without
from optimiser.surrogate import Model, Progress
from optimiser.tolerance import Straying, strays

__all__ = [
    "RELIABLE",
    "Contenders",
    "clearly_different",
    "distance",
    "find_contenders",
    "measured_recipes",
]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Codes = npt.NDArray[np.int32]

RELIABLE = 0.8
"""Share of the prints that must come off the printer and keep every limit, where a recipe can."""
_NEARLY = 0.95  # where none can: of the largest share that one reaches
_PRINTS = (16, 64)  # prints a recipe, fewest and most, while few are valued; half to sort many
_NUMBERS = 80  # prints times metrics that there is time for
_SORTED = 768  # recipes that are sorted roughly
_KEPT = 24  # of which so many are valued finely
_WINNERS, _MADE_WINNERS = 256, 128  # recipes best in some drawn function; fewer to be made
_CLIMBERS = 6
_REACHES = (0.1, 0.03, 0.0)  # strides as shares of a knob's range; the last one is one step
_CLEARLY = 0.5  # distance from which two recipes differ clearly


@dataclass(frozen=True)
class Contenders:
    """Recipes worth comparing.

    Parameters
    ----------
    recipes : DataFrame of shape (m, variables)
    made : Made
        Their worth in functions drawn together.
    sound, exact_sound : ndarray of shape (m,)
        As `Appraisal` gives them, for the printer as it is and for one that is exact.
    printable : ndarray of bool, shape (m,)
        Whether it may be chosen; a measured recipe may lie off the steps.
    straying : Straying
    """

    recipes: pd.DataFrame
    made: Made
    sound: Floats
    exact_sound: Floats
    printable: npt.NDArray[np.bool_]
    straying: Straying

    @property
    def worth(self) -> Floats:
        """Expected score as made, larger being better."""
        return np.asarray(self.made.worth.mean(axis=0))

    @property
    def order(self) -> Ints:
        """Places of the recipes that may be chosen and are sound enough, best first."""
        return _best_first(self.worth, self.sound, self.printable)

    @property
    def exact_order(self) -> Ints:
        """The same for a printer that is exact."""
        return _best_first(self.made.exact.mean(axis=0), self.exact_sound, self.printable)


def _best_first(worth: Floats, sound: Floats, allowed: npt.NDArray[np.bool_]) -> Ints:
    top = float(sound[allowed].max(initial=0.0))
    enough = allowed & (sound >= (RELIABLE if top >= RELIABLE else _NEARLY * top))
    order = np.argsort(-worth, kind="stable")
    return np.asarray(order[enough[order]])


def find_contenders(
    model: Model, functions: DrawnFunctions, *, seed: int, progress: Progress | None = None
) -> Contenders:
    """Find the recipes that are best as made, best if exact, or best in some drawn function.

    Parameters
    ----------
    model : Model
        Scorable.
    functions : DrawnFunctions
        Of the score.
    seed : int
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Contenders
        Every measured recipe among them.
    """
    codes, utility = dense_pool(model, functions, seed=seed)
    winners, wins = np.unique(utility.argmax(axis=1), return_counts=True)
    most = _MADE_WINNERS if strays(model.plan) else _WINNERS
    field = [codes[winners[np.argsort(-wins, kind="stable")[:most]]]]
    some = codes[_some(utility.mean(axis=0))]
    prints = _prints(model)
    kinds = (1, prints // 2) if strays(model.plan) else (1,)
    for count in kinds:
        rough = Appraisal(model, Straying(model.plan, count=count, seed=seed))
        field.append(_climbed(model, rough, some))
    space = model.evidence.space
    chosen = space.frame(np.unique(np.vstack(field), axis=0))
    recipes = pd.concat([chosen, measured_recipes(model)], ignore_index=True)
    recipes = recipes.drop_duplicates(ignore_index=True)
    straying = Straying(model.plan, count=prints, seed=seed)
    if progress:
        progress(0.6, "comparing the best recipes in drawn functions")
    sound = Appraisal(model, straying).sound(recipes)
    exact_sound = Appraisal(model, Straying(model.plan, count=1)).sound(recipes)
    made = Made(model, recipes, straying, seed=seed)
    return Contenders(recipes, made, sound, exact_sound, space.printable(recipes), straying)


def measured_recipes(model: Model) -> pd.DataFrame:
    """Give the recipe of each measurement, put on the steps where it hardly lies off them."""
    space = model.evidence.space
    recipes = model.evidence.recipes(model.evidence.measured).reset_index(drop=True)
    on_grid = space.printable(recipes)
    return pd.concat(
        [space.frame(space.codes(recipes[on_grid])).set_axis(np.flatnonzero(on_grid)),
         recipes[~on_grid]]
    ).sort_index()  # fmt: skip


def _prints(model: Model) -> int:
    """Give a power of two: the more metrics, the fewer prints."""
    return int(np.clip(2 ** int(np.log2(_NUMBERS / len(model.goals.needed))), *_PRINTS))


def _some(average: Floats) -> Ints:
    """Give half the places to the best on average, half to all others evenly."""
    order = np.argsort(-average, kind="stable")
    if len(order) <= _SORTED:
        return order
    rest = order[_SORTED // 2 :]
    return np.concatenate(
        [order[: _SORTED // 2], rest[np.linspace(0, len(rest) - 1, _SORTED // 2).astype(int)]]
    )


def _climbed(model: Model, appraise: Appraisal, codes: Codes) -> Codes:
    """Give the best recipes, after steps to better neighbours from the best few."""
    space = model.evidence.space
    worth, sound = appraise(space.frame(codes))
    for reach in _REACHES:
        for _ in range(3):
            best = _best_first(worth, sound, np.ones(len(codes), dtype=bool))[:_CLIMBERS]
            new = without(space.neighbour_codes(codes[best], reach), codes)
            if not len(new):
                break
            top = worth[best[0]]
            found = appraise(space.frame(new))
            codes = np.vstack([codes, new])
            worth, sound = np.concatenate([worth, found[0]]), np.concatenate([sound, found[1]])
            if worth[_best_first(worth, sound, np.ones(len(codes), dtype=bool))[0]] <= top:
                break
    order = _best_first(worth, sound, np.ones(len(codes), dtype=bool))
    return np.vstack([codes[order[:_KEPT]], _spread_out(model, codes[order])])


def _spread_out(model: Model, codes: Codes, most: int = 4) -> Codes:
    """Give the best recipes that differ clearly from each other."""
    frame = model.evidence.space.frame(codes)
    return np.asarray(codes[clearly_different(model.plan, frame, most)])


def clearly_different(plan: Plan, recipes: pd.DataFrame, most: int) -> Ints:
    """Go down a ranking and keep what differs clearly from the first and from all kept before.

    Parameters
    ----------
    plan : Plan
    recipes : DataFrame
        Best first.
    most : int
        How many to keep beside the first.

    Returns
    -------
    ndarray of int
        Places, the first left out. Two recipes differ clearly in another word, in a knob that
        only one has, or in numbers that are together half a range and four tolerances apart.
    """
    kept: list[int] = []
    near = distance(plan, recipes, 0) < _CLEARLY
    while len(kept) < most and not near.all():
        kept.append(int(np.argmin(near)))
        near |= distance(plan, recipes, kept[-1]) < _CLEARLY
    return np.array(kept, dtype=np.intp)


def distance(plan: Plan, recipes: pd.DataFrame, place: int) -> Floats:
    """Give how far each recipe is from one of them, (m,).

    The sum of the differences as shares of the ranges, or of eight tolerances where that is
    more; another word, or a knob that only one of the two has, counts as a whole range.
    """
    total = np.zeros(len(recipes))
    for variable in plan.variables.values():
        values, span = _column(variable, recipes)
        own = values[place]
        away = np.abs(values - own) / span if variable.numeric else 1.0 * (values != own)
        both_absent = np.isnan(values) & np.isnan(own)
        total += np.where(both_absent, 0.0, np.nan_to_num(away, nan=1.0))
    return total


def _column(variable: Variable, recipes: pd.DataFrame) -> tuple[Floats, float]:
    """Give a column as numbers and the difference that counts as a whole one; NaN where absent."""
    values = recipes[variable.name]
    if not variable.numeric:
        places = {str(word): float(place) for place, word in enumerate(variable.grid)}
        return np.array([places.get(str(each), np.nan) for each in values]), 1.0
    numbers = values.to_numpy(dtype=float)
    ends = np.array([variable.grid[0], variable.grid[-1]], dtype=float)
    if variable.scale == "log":
        numbers, ends = np.log(numbers), np.log(ends)
    span = float(np.ptp(ends))
    strayed = 0.0 if variable.scale == "log" else 8 * variable.tolerance
    return numbers, max(span, strayed, 1e-300)
