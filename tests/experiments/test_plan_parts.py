"""The records of a plan and small questions to them."""

from __future__ import annotations

import copy
import pickle

import numpy as np
import pytest

from experiments.plan_parts import (
    FrozenDict,
    Limit,
    Metric,
    Variable,
    as_word,
    is_number,
    near_values,
    on_grid,
)

WALL = Variable("wall_thickness", "continuous", low=0.2, high=0.5, step=0.1)
WORDS = Variable("process", "choice", levels=("resin", "filament", "0.4"))


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d.__setitem__("a", 2),
        lambda d: d.pop("a"),
        lambda d: d.clear(),
        lambda d: d.update(b=1),
        lambda d: d.setdefault("b", 1),
        lambda d: d.popitem(),
        lambda d: d.__delitem__("a"),
        lambda d: d.__ior__({"b": 1}),
    ],
)
def test_a_frozen_dict_refuses_changes(change):
    frozen = FrozenDict({"a": 1})
    with pytest.raises(TypeError, match="cannot be changed"):
        change(frozen)
    assert frozen == {"a": 1}


def test_a_frozen_dict_can_be_copied_and_stored():
    frozen = FrozenDict({"a": {"b": 1}})
    assert pickle.loads(pickle.dumps(frozen)) == frozen == copy.deepcopy(frozen)


def test_grids_by_kind():
    assert WALL.grid.tolist() == [0.2, 0.3, 0.4, 0.5]
    assert WORDS.grid.tolist() == ["resin", "filament", "0.4"]
    assert WORDS.grid.dtype == object
    assert Variable("n", "integer", low=1, high=7, step=3).grid.tolist() == [1, 4, 7]
    assert Variable("n", "integer", low=1, high=3).grid.tolist() == [1, 2, 3]
    assert Variable("o", "ordered", levels=(0.2, 3.0)).grid.dtype == np.float64
    assert Variable("o", "ordered", levels=("thin", "thick")).grid.tolist() == ["thin", "thick"]
    assert len(Variable("x", "continuous", low=0.0, high=1.0).grid) == 101
    log = Variable("x", "continuous", low=1.0, high=100.0, scale="log").grid
    assert log[50] == pytest.approx(10.0)


def test_a_grid_cannot_be_overwritten():
    with pytest.raises(ValueError, match="read-only"):
        WALL.grid[0] = 9.0


def test_numeric_and_words():
    assert WALL.numeric
    assert WALL.words is None
    assert not WORDS.numeric
    assert WORDS.words == ("resin", "filament", "0.4")
    assert Variable("o", "ordered", levels=(0.2, 3.0)).numeric
    assert not Variable("o", "ordered", levels=("thin", "thick")).numeric


def test_labels_default_to_the_name():
    assert WALL.label == "wall thickness"
    assert Variable("x", "integer", low=0, high=1, label="knob").label == "knob"
    assert Metric("upper_limit", "response", "upper_limit_hz").label == "upper limit"


@pytest.mark.parametrize(
    ("op", "kept"),
    [(">=", [False, True, True]), (">", [False, False, True]),
     ("<=", [True, True, False]), ("<", [True, False, False])],
)  # fmt: skip
def test_limits(op, kept):
    limit = Limit(op, 4.0)
    assert limit.holds([3.9, 4.0, 4.1]).tolist() == kept
    assert not limit.holds(np.nan)
    assert str(limit) == f"{op} 4"


def test_on_grid_forgives_rounding_and_nothing_more():
    assert on_grid(WALL, 0.1 + 0.2) == 0.3
    assert on_grid(WALL, 0.30001) is None
    assert on_grid(WALL, 0.6) is None
    assert on_grid(WALL, "0.3") is None
    assert on_grid(WALL, True) is None
    assert on_grid(WORDS, "resin") == "resin"
    assert on_grid(WORDS, "Resin") is None
    assert on_grid(WORDS, 0.4) == "0.4"
    assert on_grid(Variable("o", "ordered", levels=(2.0,)), 2) == 2.0


def test_a_very_large_whole_number_is_just_off_the_grid():
    assert on_grid(WALL, 10**300) is None
    assert near_values(WALL, 10**300) == "Nearest: 0.5."


def test_parts_with_tables_in_them_can_be_hashed():
    child = Variable("c", "integer", low=0, high=1, only_when=FrozenDict({"p": ("a",)}))
    assert len({child, child, WALL}) == 2
    metric = Metric("m", "hand", "m", options=FrozenDict({"band": (1.0, 2.0)}))
    assert len({metric, metric}) == 1


def test_near_values_are_the_neighbours():
    assert near_values(WALL, 0.33) == "Nearest: 0.3 and 0.4."
    assert near_values(WALL, 9) == "Nearest: 0.5."
    assert near_values(WALL, -9) == "Nearest: 0.2."
    assert "0.2" in near_values(WALL, "wide")
    assert near_values(WORDS, "resn") == "Did you mean 'resin'?"
    assert near_values(WORDS, "zz") == "Levels: resin, filament, 0.4."


def test_numbers_and_words():
    assert is_number(1)
    assert is_number(-0.5)
    for other in (True, None, "1", float("nan"), float("inf"), 10**400, [1]):
        assert not is_number(other)
    assert [as_word(v) for v in (2.0, 2, 0.4, "x")] == ["2", "2", "0.4", "x"]
