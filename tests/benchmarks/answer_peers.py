"""What other programs' authors would do for the same answers; imports nothing of ours.

``python tests/benchmarks/answer_peers.py NAME FILE.npz``: FILE holds `recipes` (n, d) on 0..1 and
`rises` (n, metrics), where each metric stands between poor (0) and good (1).
"""

from __future__ import annotations

import sys

import numpy as np
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, Matern, WhiteKernel

FUNCTIONS = 512  # as many as our answers draw
RECIPES = 768
BASE = 512  # SALib values so many times 2 d + 2 recipes


def learn(recipes: np.ndarray, rises: np.ndarray) -> list[GaussianProcessRegressor]:
    """Fit one process a metric, its length scales by maximum likelihood from one start."""
    bounds = (1e-2, 1e2)
    lengths = np.ones(recipes.shape[1])
    kernel = ConstantKernel() * Matern(lengths, bounds, nu=2.5) + WhiteKernel()
    return [GaussianProcessRegressor(kernel).fit(recipes, each) for each in rises.T]


def score(rises: np.ndarray) -> np.ndarray:
    """Geometric mean of desirabilities over the first axis."""
    return np.prod(np.clip(rises, 0, 1), axis=0) ** (1 / len(rises))


def salib(recipes: np.ndarray, rises: np.ndarray) -> None:
    """Sobol indices, second order too, of the score that the expected metrics give."""
    from SALib.analyze import sobol as analyse
    from SALib.sample import sobol as sample

    count = recipes.shape[1]
    problem = {"num_vars": count, "names": list("abcdefgh"), "bounds": [[0, 1]] * count}
    points = sample.sample(problem, BASE, calc_second_order=True, seed=0)
    values = score(np.array([each.predict(points) for each in learn(recipes, rises)]))
    analyse.analyze(problem, values, calc_second_order=True, seed=0)


def sampling(recipes: np.ndarray, rises: np.ndarray) -> None:
    """Draw functions of every metric at evenly spread recipes, and the best of each function."""
    points = np.random.default_rng(0).random((RECIPES, recipes.shape[1]))
    drawn = [each.sample_y(points, FUNCTIONS, random_state=0) for each in learn(recipes, rises)]
    score(np.array(drawn)).argmax(axis=0)


if __name__ == "__main__":
    with np.load(sys.argv[2]) as given:
        {"SALib": salib, "scikit-learn": sampling}[sys.argv[1]](given["recipes"], given["rises"])
