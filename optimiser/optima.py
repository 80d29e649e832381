"""Where the best setting of one knob lies, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import Problem, RecipeError, TrialsError
from experiments.plan import Plan, Variable
from optimiser.answers import Estimate, Optimum, Settings, Shift, Switch
from optimiser.fitting import fit
from optimiser.optimum_words import optimum_text
from optimiser.partial import nearest_place, read_settings
from optimiser.paths import DrawnFunctions
from optimiser.pool import drawn_utility, held_pool, repeatability
from optimiser.search import without
from optimiser.surrogate import Model, Progress, estimate
from optimiser.threads import one_thread
from optimiser.wording import many, recipe_line
from optimiser.wording import setting as setting_text

__all__ = ["optimum"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]
Codes = npt.NDArray[np.int32]

_CONTEXTS = 40
_FEW_CONTEXTS = 12  # a level's optimum is sought among fewer: each level is a search of its own
_SETTINGS = 61
_ANYWHERE = 0.85  # share of the range; if all settings were equally likely, 90 % would hold 0.9


@one_thread
def optimum(
    plan: Plan,
    trials: pd.DataFrame,
    variable: str,
    seed: int = 0,
    *,
    hold: Mapping[str, Any] | None = None,
    model: Model | None = None,
    progress: Progress | None = None,
) -> Optimum:
    """Find the best setting of one variable, all others at their best or held.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    variable : str
    seed : int
        Repeats exactly on the same versions.
    hold : mapping of str to value, optional
        Settings of other variables that are held, on their steps; the rest is at its best.
    model : Model, optional
        From `fit` on the same plan and trials.
    progress : callable, optional
        Called with the share done (0..1) and what is being done.

    Returns
    -------
    Optimum

    Raises
    ------
    TrialsError
        Unknown variable, or a table that does not fit the plan.
    RecipeError
        What is held is no setting, or no printable recipe has it.

    Notes
    -----
    Each function drawn from the posterior has its own best setting; their 5 % and 95 %
    quantiles are the interval. Where that is nearly the whole range, no best setting is named.
    """
    if variable not in plan.variables:
        raise TrialsError(
            Problem("variable", repr(variable), f"one of {', '.join(plan.variables)}")
        )
    if model is None:
        model = fit(plan, trials, seed, progress=progress)
    knob = plan.variables[variable]
    held = _read_held(model, knob, hold or {})
    if not model.scorable:
        return _cannot_tell(model, knob, held)
    if progress:
        progress(0.4, f"following {variable} through drawn functions")
    functions = DrawnFunctions(model, seed=seed)
    codes, utility = held_pool(model, functions, _places(model, held), seed=seed)
    search = _Search(model, functions, knob)
    found = search.curves(codes, utility)
    if found is None and held:
        shown = recipe_line(plan, held)
        raise RecipeError(
            Problem("hold", shown, f"settings of a printable recipe with {variable}")
        )
    if found is None:
        return _cannot_tell(model, knob, held)
    if progress:
        progress(0.7, f"comparing the best {variable} between levels")
    metrics = _metrics(model, found, knob, seed)
    return _answer(model, knob, held, found, metrics, _shifts(search, held, seed))


def _read_held(model: Model, knob: Variable, hold: Mapping[str, Any]) -> Settings:
    """Read what is held: other variables, on their steps."""
    if not hold:
        return {}
    held = read_settings(model, "hold", hold)
    if knob.name in held:
        raise RecipeError(Problem("hold", knob.name, "variables other than the one that is asked"))
    for name, value in held.items():
        variable = model.plan.variables[name]
        near = variable.grid[nearest_place(variable, value)]
        if variable.numeric and not np.isclose(float(near), float(value)):
            expected = f"a setting on its steps; the nearest is {setting_text(near)}"
            raise RecipeError(Problem(f"hold.{name}", setting_text(value), expected))
    return held


def _places(model: Model, held: Settings) -> dict[int, int]:
    """Give settings as columns and places on their grids."""
    variables = model.plan.variables
    names = list(variables)
    return {names.index(n): nearest_place(variables[n], value) for n, value in held.items()}


@dataclass(frozen=True)
class _Found:
    """What each setting is worth at the best of the others.

    `shown` are places on the grid, `curves` the best drawn utility at each (functions, settings),
    `recipes` the recipe with the best expected one (settings, variables).
    """

    shown: Ints
    curves: Floats
    recipes: Codes


@dataclass(frozen=True)
class _Search:
    """Follows one variable through drawn functions."""

    model: Model
    functions: DrawnFunctions
    knob: Variable

    @property
    def place(self) -> int:
        return list(self.model.plan.variables).index(self.knob.name)

    def curves(self, codes: Codes, utility: Floats, most: int = _CONTEXTS) -> _Found | None:
        """Find the best utility at each setting that can be printed; None where there is none.

        Parameters
        ----------
        codes, utility
            Recipes and their drawn utility.
        most : int
            Recipes whose other settings are tried with each setting.
        """
        active = codes[:, self.place] >= 0
        codes, utility = codes[active], utility[:, active]
        if not len(codes):
            return None
        shown = self._shown(codes, utility)
        variants = without(self._moved(codes[_contexts(utility, most)], shown), codes)
        if len(variants):
            codes = np.vstack([codes, variants])
            new = drawn_utility(self.model, self.functions, variants)
            utility = np.hstack([utility, new])
        expected = utility.mean(axis=0)
        kept, columns, recipes = [], [], []
        for code in shown:
            own = np.flatnonzero(codes[:, self.place] == code)
            if len(own):
                kept.append(code)
                columns.append(utility[:, own].max(axis=1))
                recipes.append(codes[own[int(expected[own].argmax())]])
        return _Found(np.array(kept, dtype=np.intp), np.column_stack(columns), np.vstack(recipes))

    def _shown(self, codes: Codes, utility: Floats) -> Ints:
        """Give places on the grid that are followed, that of the best recipe among them."""
        length = len(self.knob.grid)
        shown = np.linspace(0, length - 1, min(length, _SETTINGS)).round().astype(np.intp)
        return np.union1d(shown, [codes[int(utility.mean(axis=0).argmax()), self.place]])

    def _moved(self, contexts: Codes, shown: Ints) -> Codes:
        """Give recipes with one setting changed to each of the shown ones.

        A choice switches its children on and off: those recipes come from the pool instead.
        """
        space = self.model.evidence.space
        contexts = contexts.copy()
        contexts[:, self.place] = 0  # what differs in this setting alone counts once
        contexts = space.tree.unique(contexts)
        variants = np.tile(contexts, (len(shown), 1))
        variants[:, self.place] = np.repeat(shown, len(contexts))
        return np.asarray(variants[space.printable_codes(variants)])


def _contexts(utility: Floats, most: int) -> Ints:
    """Recipes whose other settings are worth keeping: best on average or in some function."""
    average = np.argsort(-utility.mean(axis=0), kind="stable")[: most // 2]
    winners, wins = np.unique(utility.argmax(axis=1), return_counts=True)
    return np.union1d(average, winners[np.argsort(-wins, kind="stable")][: most // 2])


def _metrics(model: Model, found: _Found, knob: Variable, seed: int) -> dict[str, pd.DataFrame]:
    """Follow each metric along the recipes with the best expected score."""
    points = model.encoding.of_codes(found.recipes)
    curves = {}
    for name in model.metrics:
        values = DrawnFunctions(model, name, seed=seed)(points)
        each = [estimate(column, model.metrics[name].cones) for column in values.T]
        curves[name] = pd.DataFrame(
            {
                "setting": knob.grid[found.shown],
                "mean": [one.mean for one in each],
                "low": [one.low for one in each],
                "high": [one.high for one in each],
            }
        )
    return curves


def _shifts(search: _Search, held: Settings, seed: int) -> list[Shift]:
    """Say of each choice whether the best setting differs between its levels."""
    variables = search.model.plan.variables.values()
    choices = [v for v in variables if v.kind == "choice" and v.name not in held]
    if not search.knob.numeric:
        return []
    return [shift for choice in choices for shift in _between(search, choice, held, seed)]


def _between(search: _Search, choice: Variable, held: Settings, seed: int) -> list[Shift]:
    """Compare where the best setting lies under the best level of a choice and each other one."""
    model, found = search.model, []
    for level in choice.grid.tolist():
        places = _places(model, {**held, choice.name: level})
        pool = held_pool(model, search.functions, places, seed=seed, rounds=0)
        curves = search.curves(*pool, most=_FEW_CONTEXTS)
        if curves is not None:
            grid = search.knob.grid[curves.shown].astype(float)
            height = float(curves.curves.max(axis=1).mean())
            winners = grid[curves.curves.argmax(axis=1)]
            chosen = float(grid[int(curves.curves.mean(axis=0).argmax())])
            found.append((height, str(level), chosen, winners))
    found.sort(key=lambda each: -each[0])
    shifts = []
    for _, level, chosen, winners in found[1:]:
        _, best, chosen_best, winners_best = found[0]
        apart = winners_best - winners
        low, high = _interval(apart)
        shift = Shift(
            choice.name,
            best,
            level,
            at_a=_about(chosen_best, winners_best, model.cones),
            at_b=_about(chosen, winners, model.cones),
            difference=_about(chosen_best - chosen, apart, model.cones),
            told=bool(low > 0 or high < 0),
        )
        shifts.append(shift)
    return shifts


def _about(chosen: float, drawn: Floats, cones: int) -> Estimate:
    """Give a setting on the knob's steps with the 90 % interval of drawn ones, which holds it."""
    low, high = _interval(drawn)
    return Estimate(chosen, min(float(low), chosen), max(float(high), chosen), cones)


def _switches(model: Model, knob: Variable, found: _Found) -> list[Switch]:
    """Say where the best recipe changes its level of a choice along a numeric knob."""
    if not knob.numeric:
        return []
    grid, switches = knob.grid[found.shown].astype(float), []
    for column, choice in enumerate(model.plan.variables.values()):
        if choice.kind != "choice":
            continue
        places = found.recipes[:, column]
        levels = [None if place < 0 else str(choice.grid[place]) for place in places]
        switches += [
            Switch(choice.name, levels[at], levels[at + 1], float(grid[at]), float(grid[at + 1]))
            for at in np.flatnonzero(np.diff(places))
        ]
    return sorted(switches, key=lambda each: each.last)


def _answer(
    model: Model,
    knob: Variable,
    held: Settings,
    found: _Found,
    metrics: dict[str, pd.DataFrame],
    shifts: list[Shift],
) -> Optimum:
    """Summarise the drawn curves."""
    shown, curves = found.shown, found.curves
    grid, sign = knob.grid, model.goals.sign
    average = curves.mean(axis=0)
    best = int(average.argmax())
    winners = curves.argmax(axis=1)
    share = np.bincount(winners, minlength=len(shown)) / len(winners)
    spread = repeatability(model)
    near = (curves.max(axis=1, keepdims=True) - curves <= spread).mean(axis=0) >= 0.5
    ends = np.quantile(sign * curves, [0.05, 0.95], axis=0)
    curve = pd.DataFrame(
        {
            "setting": grid[shown],
            "mean": sign * average,
            "low": ends[0],
            "high": ends[1],
            "probability": share,
        }
    )
    low = high = None
    at_edge = anywhere = False
    if knob.kind != "choice":
        first, last = _interval(winners)
        low, high = grid[shown[first]], grid[shown[last]]
        anywhere = bool(np.ptp(shown[[first, last]]) >= _ANYWHERE * np.ptp(shown))
        edge = share[0] if best == 0 else share[-1]
        at_edge = len(shown) > 2 and best in (0, len(shown) - 1) and bool(edge >= 0.5)
    setting = None if anywhere and not at_edge else grid[shown[best]]
    near[best] |= setting is not None
    as_good = [_plain(value) for value in grid[shown[near]]]
    answer = Optimum(
        variable=knob.name,
        unit=knob.unit,
        setting=_plain(setting),
        low=_plain(low),
        high=_plain(high),
        as_good=as_good,
        curve=curve,
        at_edge=at_edge,
        cones=model.cones,
        calibration=model.calibration(),
        notes=list(model.notes),
        text="",
        hold=held,
        metrics=metrics,
        shifts=shifts,
        switches=_switches(model, knob, found),
    )
    return replace(answer, text=optimum_text(model, knob, answer, share[best]))


def _interval(drawn: Ints | Floats) -> tuple[Any, Any]:
    """Give the two of them that hold their middle 90 %."""
    low, high = np.quantile(drawn, [0.05, 0.95], method="inverted_cdf")
    return low, high


def _plain(value: Any) -> Any:
    """Give a Python number or word."""
    return value.item() if isinstance(value, np.generic) else value


def _cannot_tell(model: Model, knob: Variable, held: Settings) -> Optimum:
    """Answer while there is no model, or no recipe in which the knob is active."""
    curve = pd.DataFrame(columns=["setting", "mean", "low", "high", "probability"], dtype=float)
    text = (
        f"Cannot tell yet where the best {knob.label} lies: {many(model.cones, 'measured cone')}."
    )
    return Optimum(
        knob.name, knob.unit, None, None, None, [], curve, False, model.cones,
        model.calibration(), list(model.notes), text, held,
    )  # fmt: skip
