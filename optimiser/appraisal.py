"""The worth of recipes as a printer makes them, and how surely they keep the limits.

`Appraisal` values many recipes by their marginal predictions: the mean over settings that stray is
linear, so nothing is lost by that. `Made` values a few over functions drawn together, for what is
said of differences and of the best of all.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd
from scipy import special

from experiments.plan import Metric
from experiments.sampling import points as sobol_points
from optimiser.encoding import Points
from optimiser.paths import DrawnFunctions
from optimiser.surrogate import Model
from optimiser.tolerance import Straying

__all__ = ["Appraisal", "Made", "learnt_limit", "worth"]

Floats = npt.NDArray[np.float64]

_EACH = 4  # draws a hyperparameter set
_AT_ONCE = 1024  # prints valued together: what fits into a processor's cache


def worth(model: Model, values: dict[str, Floats]) -> Floats:
    """Give the score of metric values, larger being better.

    A single metric keeps its value where a limit is broken, for its mean over prints to exist; a
    score is 0 there.
    """
    raw = model.goals.raw
    return model.goals.sign * (model.goals.score(values) if raw is None else values[raw.name])


class Appraisal:
    """Expected worth of recipes over what a printer makes of them.

    Parameters
    ----------
    model : Model
        Scorable.
    straying : Straying
    """

    def __init__(self, model: Model, straying: Straying) -> None:
        self.model = model
        self.straying = straying
        names = model.goals.needed
        draws = model.metrics[names[0]].process.draws
        rng = np.random.default_rng([model.seed, 43])
        unit = sobol_points(draws * _EACH, len(names), rng)
        normal = special.ndtri(np.clip(unit, 1e-6, 1 - 1e-6)).reshape(draws, _EACH, len(names), 1)
        self._normal = {name: normal[:, :, place] for place, name in enumerate(names)}

    def __call__(self, recipes: pd.DataFrame) -> tuple[Floats, Floats]:
        """Value recipes.

        Returns
        -------
        worth : ndarray of shape (m,)
            Expected score, larger being better, of the recipe itself.
        sound : ndarray of shape (m,)
            Probability that a print of it comes off the printer and keeps every hard limit.
        """
        parts = [self._part(part) for part in self._parts(recipes)]
        return _joined([worth for worth, _ in parts]), _joined([sound for _, sound in parts])

    def sound(self, recipes: pd.DataFrame) -> Floats:
        """Give the second of the two alone, which asks fewer metrics."""
        limited = [metric.name for metric in self.model.goals.limited]
        found = []
        for part in self._parts(recipes):
            points = self.model.encoding(self.straying(part))
            found.append(self._sound(part, self._known(points, limited), len(points)))
        return _joined(found)

    def _parts(self, recipes: pd.DataFrame) -> list[pd.DataFrame]:
        step = max(1, _AT_ONCE // self.straying.count)
        return [recipes.iloc[start : start + step] for start in range(0, len(recipes), step)]

    def _known(self, points: Points, names: Sequence[str]) -> dict[str, tuple[Floats, Floats]]:
        """Mean and variance of metrics a hyperparameter set."""
        return {name: self.model.metrics[name].process.predict(points) for name in names}

    def _part(self, recipes: pd.DataFrame) -> tuple[Floats, Floats]:
        model = self.model
        points = model.encoding(self.straying(recipes))
        known = self._known(points, model.goals.needed)
        values = {
            name: model.metrics[name].back(
                mean[:, None] + self._normal[name] * np.sqrt(variance)[:, None]
            )
            for name, (mean, variance) in known.items()
        }
        expected = worth(model, values).mean(axis=(0, 1))
        return self._over_prints(expected), self._sound(recipes, known, len(points))

    def _over_prints(self, values: Floats) -> Floats:
        return np.asarray(values.reshape(-1, self.straying.count).mean(axis=1))

    def _sound(
        self, recipes: pd.DataFrame, known: dict[str, tuple[Floats, Floats]], prints: int
    ) -> Floats:
        kept = np.ones((1, prints))
        for metric in self.model.goals.limited:
            kept = kept * self._keeps(metric, *known[metric.name])
        comes_off = self.model.printability(self.model.encoding(recipes))
        return np.asarray(self._over_prints(kept.mean(axis=0)) * comes_off)

    def _keeps(self, metric: Metric, mean: Floats, variance: Floats) -> Floats:
        """Probability a hyperparameter set that a new print keeps a limit."""
        part = self.model.metrics[metric.name]
        novelty = part.process.novelty_[:, None] * part.process.scale_**2
        sign, value = learnt_limit(self.model, metric)
        return np.asarray(special.ndtr(sign * (mean - value) / np.sqrt(variance + novelty)))

    def limits(self, recipe: pd.DataFrame) -> dict[str, float]:
        """Probability that a print of one recipe keeps each hard limit."""
        limited = self.model.goals.limited
        points = self.model.encoding(self.straying(recipe))
        known = self._known(points, [metric.name for metric in limited])
        return {each.name: float(self._keeps(each, *known[each.name]).mean()) for each in limited}


def _joined(parts: list[Floats]) -> Floats:
    return np.concatenate(parts) if parts else np.zeros(0)


def learnt_limit(model: Model, metric: Metric) -> tuple[float, float]:
    """Give a hard limit on the scale that the metric was learnt on.

    Returns
    -------
    sign : float
        1 where values over the limit keep it, -1 where those under it do.
    value : float
        Minus infinity where a logarithm has no limit at 0 or below.
    """
    assert metric.limit is not None
    sign = 1.0 if metric.limit.op.startswith(">") else -1.0
    value = metric.limit.value
    if not model.metrics[metric.name].log:
        return sign, value
    return sign, float(np.log(value)) if value > 0 else -np.inf


class Made:
    """A few recipes as the printer makes them, valued in functions drawn together.

    Parameters
    ----------
    model : Model
        Scorable.
    recipes : DataFrame of shape (m, variables)
    straying : Straying
    seed : int

    Attributes
    ----------
    worth : ndarray of shape (functions, m)
        Mean over the prints, larger being better.
    exact : ndarray of shape (functions, m)
        The same at the settings themselves.
    """

    def __init__(
        self, model: Model, recipes: pd.DataFrame, straying: Straying, *, seed: int
    ) -> None:
        self.model = model
        self.count = straying.count
        names = model.goals.needed
        self._functions = {name: DrawnFunctions(model, name, seed=seed) for name in names}
        exact = self._values(model.encoding(recipes))
        self._made = self._values(model.encoding(straying(recipes))) if straying.knobs else exact
        self.exact = worth(model, exact)
        drawn = worth(model, self._made)
        self.worth = drawn.reshape(len(drawn), len(recipes), self.count).mean(axis=2)

    def _values(self, points: Points) -> dict[str, Floats]:
        return {name: function(points) for name, function in self._functions.items()}

    def of(self, place: int) -> dict[str, Floats]:
        """Give the metrics of one recipe's prints, without noise: (functions, prints) each."""
        here = slice(place * self.count, (place + 1) * self.count)
        return {name: values[:, here] for name, values in self._made.items()}

    def kept(self, place: int) -> Floats:
        """Give the share of one recipe's prints, scatter included, that keep every limit."""
        held: Floats = np.ones((1, 1))
        for metric in self.model.goals.limited:
            part = self.model.metrics[metric.name]
            sign, value = learnt_limit(self.model, metric)
            mean = _learnt(part.log, self.of(place)[metric.name])
            sd = np.sqrt(_each(part.process.novelty_, len(mean))) * part.process.scale_
            held = held * special.ndtr(sign * (mean - value) / sd[:, None])
        return np.asarray(held.mean(axis=1))


def _learnt(log: bool, values: Floats) -> Floats:
    return np.log(np.maximum(values, 1e-300)) if log else values


def _each(by_set: Floats, functions: int) -> Floats:
    """Repeat a number a hyperparameter set for each function drawn under it."""
    return np.repeat(by_set, functions // len(by_set))
