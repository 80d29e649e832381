"""The lab that counts what intervals hold: its trials, and its counting by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.coverage import covered, fresh, measure, summary, tables
from tests.benchmarks.race_problems import problem


@pytest.mark.parametrize("name", ["forked", "cone-drift"])
def test_trials_grow_and_never_repeat(name):
    task = problem(name)
    found = tables(task, 2, (4, 7))
    assert found[7].iloc[: len(found[4])].equals(found[4])
    own = found[7][found[7]["cone"] > 0]
    assert (own["status"] == "measured").sum() == 7
    assert not own[list(task.plan.variables)].astype(str).duplicated().any()
    if task.sitting:
        reference = found[7][found[7]["cone"] == 0]
        assert reference["session"].tolist() == sorted(own["session"].unique())


def test_what_lies_inside_is_counted():
    task = problem("branin")
    trials = tables(task, 0, (6,))[6]
    asked = fresh(task, 0)[:20]
    far = [(settings, {"y": 1e6}) for settings, _ in asked[:10]]
    near = [(settings, {"y": trials["y"].median()}) for settings, _ in asked[10:]]
    assert covered(task, trials, far, 0) == 0.0
    assert covered(task, trials, near, 0) > 0.5
    share = covered(task, trials, [*far, *near], 0)
    assert share == pytest.approx(0.5 * covered(task, trials, near, 0))
    tried = [({"x1": row.x1, "x2": row.x2}, {"y": 1e6}) for row in trials.itertuples()]
    assert covered(task, trials, [*near, *tried], 0) == covered(task, trials, near, 0)


def test_one_seed_from_end_to_end():
    shares = measure("diabetes", 0, (5, 8))
    assert len(shares) == 2
    assert all(0.3 < share <= 1.0 for share in shares)


def test_the_mean_over_problems_by_hand():
    rows = summary({"a": np.array([[0.8, 1.0], [0.8, 1.0]]), "b": np.array([[1.0, 0.9]] * 2)})
    assert rows[:2] == ["| a | 0.800 | 1.000 |", "| b | 1.000 | 0.900 |"]
    assert rows[2] == "| mean of 2 | 0.900 (0.900..0.900) | 0.950 (0.950..0.950) |"
