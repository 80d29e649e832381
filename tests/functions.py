"""Published test functions with their known answers, and plans that pose them.

Values are from memory of the publications and recomputed where a computation exists.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import pandas as pd

from experiments.plan import Plan
from experiments.space import Space

# Hartmann 6: Dixon & Szegö (1978), Towards Global Optimisation 2.
_H6_ALPHA = np.array([1.0, 1.2, 3.0, 3.2])
_H6_A = np.array(
    [
        [10, 3, 17, 3.5, 1.7, 8],
        [0.05, 10, 17, 0.1, 8, 14],
        [3, 3.5, 1.7, 10, 17, 8],
        [17, 8, 0.05, 10, 0.1, 14],
    ]
)
_H6_P = 1e-4 * np.array(
    [
        [1312, 1696, 5569, 124, 8283, 5886],
        [2329, 4135, 8307, 3736, 1004, 9991],
        [2348, 1451, 3522, 2883, 3047, 6650],
        [4047, 8828, 8732, 5743, 1091, 381],
    ]
)


def branin(x: np.ndarray) -> np.ndarray:
    """Branin (Dixon & Szegö 1978) on [-5, 10] x [0, 15]; minimum 0.397887."""
    x1, x2 = x[:, 0], x[:, 1]
    a = x2 - 5.1 / (4 * np.pi**2) * x1**2 + 5 / np.pi * x1 - 6
    return a**2 + 10 * (1 - 1 / (8 * np.pi)) * np.cos(x1) + 10


def currin(x: np.ndarray) -> np.ndarray:
    """Currin et al. (1991), JASA 86(416), on [0, 1]^2; x2 = 0 is the limit."""
    x1, x2 = x[:, 0], x[:, 1]
    with np.errstate(divide="ignore"):
        rise = 1 - np.exp(-1 / (2 * x2))
    above = 2300 * x1**3 + 1900 * x1**2 + 2092 * x1 + 60
    return rise * above / (100 * x1**3 + 500 * x1**2 + 4 * x1 + 20)


def hartmann6(x: np.ndarray) -> np.ndarray:
    """Hartmann 6 on [0, 1]^6; minimum -3.32237."""
    inner = (_H6_A * (x[:, None, :] - _H6_P) ** 2).sum(axis=2)
    return -(_H6_ALPHA * np.exp(-inner)).sum(axis=1)


def tsutsui_ghosh(x: np.ndarray | float) -> np.ndarray:
    """Tsutsui & Ghosh (1997), IEEE Trans. Evol. Comp. 1(3), on [0, 1]: a test of robust search.

    Peaks at 0.1, 0.3, ... 0.9; the highest one, 1 at 0.1, is narrow, that at 0.5 broad and lower.
    """
    x = np.asarray(x, dtype=float)
    fall = np.exp(-2 * np.log(2) * ((x - 0.1) / 0.8) ** 2)
    wave = np.abs(np.sin(5 * np.pi * x))
    return fall * np.where((x > 0.4) & (x <= 0.6), np.sqrt(wave), wave**6)


def ishigami(x: np.ndarray) -> np.ndarray:
    """Ishigami & Homma (1990) on [-pi, pi]^3 with a = 7, b = 0.1."""
    return np.sin(x[:, 0]) + 7 * np.sin(x[:, 1]) ** 2 + 0.1 * x[:, 2] ** 4 * np.sin(x[:, 0])


def sobol_g(x: np.ndarray, a: tuple[float, ...]) -> np.ndarray:
    """Sobol's g function on [0, 1]^d (Saltelli et al. 2008)."""
    factors = (np.abs(4 * x - 2) + np.array(a)) / (1 + np.array(a))
    return factors.prod(axis=1)


ISHIGAMI_FIRST = (0.313905, 0.442411, 0.0)
ISHIGAMI_TOTAL = (0.557589, 0.442411, 0.243684)
ISHIGAMI_SECOND = {(0, 1): 0.0, (0, 2): 0.243684, (1, 2): 0.0}


def g_indices(a: tuple[float, ...]) -> tuple[np.ndarray, np.ndarray]:
    """First-order and total indices of Sobol's g, in closed form."""
    part = 1 / (3 * (1 + np.array(a)) ** 2)
    variance = np.prod(1 + part) - 1
    total = part * np.prod(1 + part) / (1 + part)
    return part / variance, total / variance


def g_second_order(a: tuple[float, ...]) -> dict[tuple[int, int], float]:
    """Second-order indices of Sobol's g, in closed form: products of the single variances."""
    part = 1 / (3 * (1 + np.array(a)) ** 2)
    variance = np.prod(1 + part) - 1
    return {(i, j): part[i] * part[j] / variance for i, j in combinations(range(len(a)), 2)}


@dataclass(frozen=True)
class Problem:
    """A function posed as a plan with one metric ``y``."""

    name: str
    plan: Plan
    function: Callable[[np.ndarray], np.ndarray]
    best: float
    spread: float  # standard deviation of the function over its domain

    def measure(self, recipes: pd.DataFrame, noise: float = 0.0, seed: int = 0) -> np.ndarray:
        """Value recipes, with noise as a share of the spread."""
        truth = self.function(recipes[list(self.plan.variables)].to_numpy(dtype=float))
        rng = np.random.default_rng(seed)
        return truth + noise * self.spread * rng.standard_normal(len(truth))

    def trials(self, count: int, noise: float = 0.0, seed: int = 0) -> pd.DataFrame:
        """Give measured trials at random recipes."""
        recipes = Space(self.plan).sample(count, seed=seed)
        return self.table(recipes, self.measure(recipes, noise, seed))

    def table(self, recipes: pd.DataFrame, values: np.ndarray) -> pd.DataFrame:
        """Give recipes and values as a table of trials."""
        frame = recipes.reset_index(drop=True).copy()
        frame["y"] = values
        frame["status"] = "measured"
        frame["cone"] = np.arange(1, len(frame) + 1)
        return frame


def unit_plan(name: str, dimensions: int, low: float = 0.0, high: float = 1.0) -> Plan:
    """Give a plan of `dimensions` continuous variables and a metric to minimise."""
    variables: dict[str, Any] = {
        f"x{place + 1}": {"kind": "continuous", "low": low, "high": high}
        for place in range(dimensions)
    }
    metrics = {"y": {"from": "hand", "goal": "minimise"}}
    return Plan.from_dict({"name": name, "variables": variables, "metrics": metrics})


def branin_problem() -> Problem:
    plan = Plan.from_dict(
        {
            "name": "branin",
            "variables": {
                "x1": {"kind": "continuous", "low": -5, "high": 10},
                "x2": {"kind": "continuous", "low": 0, "high": 15},
            },
            "metrics": {"y": {"from": "hand", "goal": "minimise"}},
        }
    )
    return Problem("branin", plan, branin, 0.3978873577, 51.3)


def hartmann6_problem() -> Problem:
    return Problem("hartmann6", unit_plan("hartmann6", 6), hartmann6, -3.3223680114, 0.38)


def ishigami_problem() -> Problem:
    plan = unit_plan("ishigami", 3, -np.pi, np.pi)
    return Problem("ishigami", plan, ishigami, -10.74, np.sqrt(13.844588))


def g_problem(a: tuple[float, ...] = (0.0, 1.0, 4.5, 9.0)) -> Problem:
    part = 1 / (3 * (1 + np.array(a)) ** 2)
    plan = unit_plan("sobol g", len(a))
    return Problem(
        "sobol g", plan, lambda x: sobol_g(x, a), 0.0, float(np.sqrt(np.prod(1 + part) - 1))
    )
