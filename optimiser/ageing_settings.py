"""Which settings slow the ageing: drifts set beside recipes, one setting at a time."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from experiments.plan import Variable
from optimiser import wording
from optimiser.ageing_laws import curve
from optimiser.ageing_model import AgeModel, solve
from optimiser.ageing_records import Setting
from optimiser.answers import Estimate
from optimiser.scales import change_in_percent

__all__ = ["compare_settings"]

Floats = npt.NDArray[np.float64]

_LEAST = 4  # aged cones; two of a level
_MOST_MORE = 40


def compare_settings(
    model: AgeModel, recipes: pd.DataFrame, variables: dict[str, Variable], unit: str
) -> list[Setting]:
    """Say which settings change the drift.

    Parameters
    ----------
    model : AgeModel
    recipes : DataFrame
        One row a cone of ``model.kept``, in its order.
    variables : dict of str to Variable
    unit : str
        Of the drift, in words: ``% of its value`` where the metric is logarithmic.

    Returns
    -------
    list of Setting
        Empty below four cones heard at several ages.

    Notes
    -----
    A setting's factor is drawn towards 0 as far as cones of one recipe differ (it has their
    variance beforehand, per standard deviation of the setting). It is told if its interval of
    ``1 - 0.1 / contrasts`` leaves 0 out (Bonferroni): among settings that do nothing, one
    table in ten at most names one. Cones are few, so each setting is looked at alone: settings
    that always moved together cannot be told apart.
    """
    aged = model.kept.aged
    if aged.sum() < _LEAST:
        return []
    columns = _contrasts(recipes, variables, aged)
    return [
        _setting(model, name, text, column, len(columns), unit) for name, text, column in columns
    ]


def _contrasts(
    recipes: pd.DataFrame, variables: dict[str, Variable], aged: npt.NDArray[np.bool_]
) -> list[tuple[str, str, Floats]]:
    """Give (variable, words, column) of all that differs enough among aged cones."""
    found: list[tuple[str, str, Floats]] = []
    for name, variable in variables.items():
        values = recipes[name]
        here = values[aged].dropna()
        if variable.numeric:
            spread = float(here.astype(float).std()) if len(here) > 1 else 0.0
            if len(here) == aged.sum() and spread > 0 and here.nunique() > 1:
                step = float(here.max() - here.min())
                numbers = values.to_numpy(dtype=float)
                column = (numbers - np.mean(numbers[aged])) / step
                words = wording.with_unit(f"{wording.setting(step)}", variable.unit)
                found.append((name, f"{variable.label} {words} more", np.nan_to_num(column)))
            continue
        for level, count in here.value_counts().sort_index().items():
            others = len(here) - count
            # Of two levels one contrast says all.
            if count >= 2 and others >= 2 and (name, len(here.unique())) != (
                found[-1][0] if found else None, 2,
            ):  # fmt: skip
                rest = "the other" if len(here.unique()) > 2 else _other(here, level)
                is_here = (values == level).to_numpy(dtype=float) - count / len(here)
                column = np.where(values.notna().to_numpy(dtype=bool), is_here, 0.0)
                found.append((name, f"{variable.label} {level} against {rest}", column))
    return found


def _other(here: pd.Series, level: object) -> str:
    return str(next(each for each in here.unique() if each != level))


def _setting(
    model: AgeModel, name: str, words: str, column: Floats, looked: int, unit: str
) -> Setting:
    """Estimate one contrast, averaged over laws and variances."""
    kept = model.kept
    scale = float(np.std(column[kept.aged])) or 1.0
    weight, mean, sd, degrees = [], [], [], 1
    for point in model.points:
        law = curve(point.law, point.shape, kept.times, kept.span)
        found = solve(kept, law, model.ratios, covariate=column / scale)
        degrees = found.degrees
        inverse = np.linalg.inv(found.precision)[:, -1, -1]
        weight.append(model.log_weight(point, covariate=column / scale))
        mean.append(found.mean[:, -1] / scale)
        sd.append(np.sqrt(inverse * found.quadratic / degrees) / scale)
    chance = special.softmax(np.concatenate(weight))
    middle, width = np.concatenate(mean), np.concatenate(sd)
    keep = chance > 1e-6 * chance.max()
    mixture = (chance[keep] / chance[keep].sum(), middle[keep], width[keep], degrees)
    low, high = (_quantile(*mixture, at) for at in (0.05, 0.95))
    told_low, told_high = (_quantile(*mixture, at) for at in (0.05 / looked, 1 - 0.05 / looked))
    told = told_low > 0 or told_high < 0
    ends = [float(mixture[0] @ mixture[1]), low, high]
    if kept.logarithmic:
        ends = [change_in_percent(end) for end in ends]
    effect = Estimate(ends[0], ends[1], ends[2], int(kept.aged.sum()))
    text = _text(words, effect, told, unit)
    return Setting(name, words, effect, told, text)


def _text(words: str, effect: Estimate, told: bool, unit: str) -> str:
    if told:
        return f"{words}: adds {wording.interval(effect, unit)} to the drift"
    reach = max(abs(effect.mean), 1e-300)
    half = 0.5 * (effect.high - effect.low)
    # The width falls with the root of the cones; 1.5 leaves room for the several settings.
    more = math.ceil(effect.cones * ((1.5 * half / reach) ** 2 - 1.0))
    if more > _MOST_MORE:
        return f"{words}: cannot tell yet"
    return f"{words}: cannot tell yet; about {wording.many(max(more, 1), 'more cone')} would"


def _quantile(weight: Floats, mean: Floats, sd: Floats, degrees: int, level: float) -> float:
    """Quantile of a weighted mixture of Student's t distributions, by bisection."""
    ends = mean + special.stdtrit(degrees, level) * sd
    low, high = float(ends.min()), float(ends.max())
    for _ in range(50):
        middle = 0.5 * (low + high)
        below = weight @ special.stdtr(degrees, (middle - mean) / np.maximum(sd, 1e-300)) < level
        low, high = (middle, high) if below else (low, middle)
    return 0.5 * (low + high)
