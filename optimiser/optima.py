"""Where the best setting of one knob lies, and how sure that is."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd

from experiments.errors import Problem, TrialsError
from experiments.plan import Plan, Variable
from optimiser.answers import Optimum
from optimiser.paths import DrawnFunctions
from optimiser.pool import dense_pool, drawn_utility, repeatability
from optimiser.surrogate import Model, Progress, fit
from optimiser.threads import one_thread
from optimiser.wording import many, percent
from optimiser.wording import setting as setting_text

__all__ = ["optimum"]

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.intp]

_CONTEXTS = 40
_SETTINGS = 61
_ANYWHERE = 0.85  # share of the range; if all settings were equally likely, 90 % would hold 0.9


@one_thread
def optimum(
    plan: Plan,
    trials: pd.DataFrame,
    variable: str,
    seed: int = 0,
    *,
    model: Model | None = None,
    progress: Progress | None = None,
) -> Optimum:
    """Find the best setting of one variable, all others at their best.

    Parameters
    ----------
    plan : Plan
    trials : DataFrame
        One row a measurement (see `Ledger.table`).
    variable : str
    seed : int
        Repeats exactly on the same versions.
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
    if not model.scorable:
        return _cannot_tell(model, knob)
    if progress:
        progress(0.4, f"following {variable} through drawn functions")
    shown, curves = _curves(model, knob, seed)
    if not len(shown):
        return _cannot_tell(model, knob)
    return _answer(model, knob, shown, curves)


def _curves(model: Model, knob: Variable, seed: int) -> tuple[Ints, Floats]:
    """Find the best utility at each setting that can be printed, a function a row."""
    functions = DrawnFunctions(model, seed=seed)
    codes, utility = dense_pool(model, functions, seed=seed)
    place = list(model.plan.variables).index(knob.name)
    active = codes[:, place] >= 0
    codes, utility = codes[active], utility[:, active]
    if not len(codes):
        return np.empty(0, dtype=np.intp), np.empty((0, 0))
    contexts = codes[_contexts(utility)]
    length = len(knob.grid)
    shown = np.unique(np.linspace(0, length - 1, min(length, _SETTINGS)).round().astype(np.intp))
    best_code = codes[int(utility.mean(axis=0).argmax()), place]
    shown = np.union1d(shown, [best_code]).astype(np.intp)
    space = model.evidence.space
    kept, columns = [], []
    for code in shown:
        variants = contexts.copy()
        variants[:, place] = code
        # A choice switches its children on and off: those recipes come from the pool instead.
        variants = variants[space.printable_codes(variants)]
        own = codes[:, place] == code
        parts = [utility[:, own]] if own.any() else []
        if len(variants):
            parts.append(drawn_utility(model, functions, variants))
        if parts:
            kept.append(code)
            columns.append(np.hstack(parts).max(axis=1))
    return np.array(kept, dtype=np.intp), np.column_stack(columns)


def _contexts(utility: Floats) -> Ints:
    """Recipes whose other settings are worth keeping: best on average or in some function."""
    average = np.argsort(-utility.mean(axis=0), kind="stable")[: _CONTEXTS // 2]
    winners, wins = np.unique(utility.argmax(axis=1), return_counts=True)
    return np.union1d(average, winners[np.argsort(-wins, kind="stable")][: _CONTEXTS // 2])


def _answer(model: Model, knob: Variable, shown: Ints, curves: Floats) -> Optimum:
    """Summarise the drawn curves."""
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
    text = _text(model, knob, setting, low, high, as_good, share[best], at_edge)
    return Optimum(
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
        text=text,
    )


def _interval(winners: Ints) -> tuple[int, int]:
    """Give the places that hold the middle 90 % of the winners."""
    low, high = np.quantile(winners, [0.05, 0.95], method="inverted_cdf")
    return int(low), int(high)


def _plain(value: Any) -> Any:
    """Give a Python number or word."""
    return value.item() if isinstance(value, np.generic) else value


def _text(
    model: Model,
    knob: Variable,
    setting: Any,
    low: Any,
    high: Any,
    as_good: list[Any],
    share: float,
    at_edge: bool,
) -> str:
    """One plain sentence."""
    unit = f" {knob.unit}" if knob.unit else ""
    if setting is None:
        return (
            f"Cannot tell yet where the best {knob.label} lies: from {model.cones} cones, it may "
            f"be anywhere between {setting_text(low)} and {setting_text(high)}{unit}."
        )
    if knob.kind == "choice":
        others = [str(value) for value in as_good if value != setting]
        tail = f"; {', '.join(others)} cannot be told from it" if others else ""
        return (
            f"Best {knob.label}: {setting}, with probability {percent(share)} from {model.cones} "
            f"cones{tail}."
        )
    ends = f"{setting_text(low)} and {setting_text(high)}{unit}"
    equals = f"{setting_text(as_good[0])} to {setting_text(as_good[-1])}{unit}"
    if len(as_good) == 1:
        equals = "no other setting"
    text = (
        f"Best {knob.label}: {setting_text(setting)}{unit}; the best lies between {ends} "
        f"(90 %, {model.cones} cones); as good within the repeatability: {equals}."
    )
    if at_edge:
        text += " It sits at the edge of the range: widen the range to find the true optimum."
    return text


def _cannot_tell(model: Model, knob: Variable) -> Optimum:
    """Answer while there is no model, or no recipe in which the knob is active."""
    curve = pd.DataFrame(columns=["setting", "mean", "low", "high", "probability"], dtype=float)
    found = many(model.cones, "measured cone")
    text = f"Cannot tell yet where the best {knob.label} lies: {found}."
    return Optimum(
        knob.name, knob.unit, None, None, None, [], curve, False, model.cones,
        model.calibration(), list(model.notes), text,
    )  # fmt: skip
