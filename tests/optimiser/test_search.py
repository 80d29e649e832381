"""The recipe that a value is highest at, on grids from twelve recipes to 10^15."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser.search import best_codes, without

PEAK = np.array([0.627, 0.311, 0.874])


def cube(*steps: int) -> Space:
    variables = {
        f"x{place}": {"kind": "continuous", "low": 0, "high": 1, "step": 1 / count}
        for place, count in enumerate(steps)
    }
    metrics = {"y": {"from": "hand", "goal": "maximise"}}
    return Space(Plan.from_dict({"name": "cube", "variables": variables, "metrics": metrics}))


def search(space: Space, value, exclude: np.ndarray | None = None, seed: int = 0):
    codes = np.zeros((0, len(space.plan.variables)), dtype=np.int32)
    return best_codes(
        space, value, codes, seed=seed,
        exclude=codes if exclude is None else exclude, onto=lambda given: given,
    )  # fmt: skip


def place_of(space: Space, codes: np.ndarray) -> np.ndarray:
    return space.frame(np.atleast_2d(codes)).to_numpy(dtype=float)


@pytest.mark.parametrize("steps", [2, 10, 100, 1000, 100_000])
def test_the_top_of_a_ridge_is_found_on_any_grid(steps):
    """A slanting ridge: two knobs must move together, and no single one is better by itself."""
    space = cube(steps, steps, steps)

    def value(codes: np.ndarray) -> np.ndarray:
        off = place_of(space, codes) - PEAK
        return -((off @ [1, 1, 0]) ** 2) - 0.3 * (off @ [1, -1, 0]) ** 2 - off[:, 2] ** 2

    found = place_of(space, search(space, value))[0]
    assert np.all(np.abs(found - PEAK) <= max(1 / steps, 1e-4) + 1e-9)


def test_a_finer_grid_asks_for_hardly_more_values():
    asked = []
    for steps in (100, 100_000):
        space, count = cube(steps, steps, steps), []

        def value(codes: np.ndarray, space=space, count=count) -> np.ndarray:
            count.append(len(codes))
            return -np.sum((place_of(space, codes) - PEAK) ** 2, axis=1)

        search(space, value)
        asked.append(sum(count))
    assert asked[1] < 2 * asked[0]


def test_what_is_excluded_is_never_given():
    space = cube(1, 2)

    def value(codes: np.ndarray) -> np.ndarray:
        return codes.sum(axis=1).astype(float)

    gone = np.zeros((0, 2), dtype=np.int32)
    for _ in range(6):
        found = search(space, value, gone)
        assert len(without(found[None, :], gone)) == 1
        gone = np.vstack([gone, found])
    assert search(space, value, gone) is None
