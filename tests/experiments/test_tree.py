"""Activity of variables, and whole-number forms of recipes."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.plan import Plan
from experiments.tree import Tree
from tests.examples import examples

NESTED = {
    # In an order that puts children before their parents.
    "gloss": {"kind": "integer", "low": 0, "high": 2, "only_when": {"wash": ["twice"]}},
    "wash": {"kind": "choice", "levels": ["once", "twice"], "only_when": {"process": ["resin"]}},
    "process": {"kind": "choice", "levels": ["resin", "filament", "card"]},
    "brim": {
        "kind": "ordered", "levels": [1, 2],
        "only_when": {"process": ["filament", "card"], "ribs": [0, 2]},
    },
    "ribs": {"kind": "integer", "low": 0, "high": 2},
}  # fmt: skip


def tree_of(variables):
    metrics = {"m": {"goal": "minimise"}}
    return Tree(
        Plan.from_dict({"name": "t", "variables": variables, "metrics": metrics}).variables
    )


@pytest.fixture
def tree():
    return tree_of(NESTED)


def test_order_puts_parents_first(tree):
    assert sorted(tree.order) == [0, 1, 2, 3, 4]
    for column, held in enumerate(tree.parents):
        for parent, _ in held:
            assert tree.order.index(parent) < tree.order.index(column)


def test_children(tree):
    assert tree.children == ((), (0,), (1, 3), (), (3,))


@pytest.mark.parametrize(
    ("codes", "settled"),
    [  # gloss, wash, process, brim, ribs
        ([1, 1, 0, 1, 0], [1, 1, 0, -1, 0]),
        ([1, 0, 0, 1, 0], [-1, 0, 0, -1, 0]),
        ([1, 1, 1, 1, 0], [-1, -1, 1, 1, 0]),
        ([1, 1, 2, 1, 1], [-1, -1, 2, -1, 1]),
        ([2, 1, 2, 0, 2], [-1, -1, 2, 0, 2]),
    ],
)
def test_settling_follows_the_conditions_down(tree, codes, settled):
    given_codes = np.array([codes], dtype=np.int32)
    assert tree.settle(given_codes).tolist() == [settled]
    assert given_codes.tolist() == [codes]  # left as it was


def test_settling_fills_what_becomes_active(tree):
    codes = np.array([[-1, -1, 0, -1, 0], [-1, -1, 1, -1, 0]], dtype=np.int32)
    assert tree.settle(codes, [2, 1, 0, 1, 0]).tolist() == [[2, 1, 0, -1, 0], [-1, -1, 1, 1, 0]]


def test_well_formed_is_settled_and_on_the_grid(tree):
    every = np.array(list(itertools.product(*(range(-2, s + 1) for s in tree.sizes))), np.int32)
    inside = np.all((every >= -1) & (every < tree.sizes), axis=1)
    roots = np.all(every[:, [2, 4]] >= 0, axis=1)
    good = tree.well_formed(every)
    assert not good[~inside].any()
    same = np.all(tree.settle(every[inside], [0] * 5) == every[inside], axis=1)
    np.testing.assert_array_equal(good[inside], same & roots[inside])
    # resin: once + twice x 3; filament and card: 3 ribs, of which two have brims
    assert good.sum() == (1 + 3) * 3 + 2 * (2 + 1 + 2)


def test_wild_codes_are_not_looked_up(tree):
    wild = np.array([[2**31 - 1] * 5, [-(2**31)] * 5], dtype=np.int32)
    assert tree.well_formed(wild).tolist() == [False, False]


@settings(max_examples=examples(50), deadline=None)
@given(st.lists(st.lists(st.integers(-1, 5), min_size=3, max_size=3), min_size=1, max_size=30))
def test_unique_keeps_first_rows_in_place(rows):
    small = {f"x{i}": {"kind": "integer", "low": 0, "high": 5} for i in range(3)}
    wide = {f"x{i}": {"kind": "integer", "low": 0, "high": 99_999} for i in range(3 + 9)}
    for variables, padding, times in ((small, 0, 1), (wide, 9, 1000)):  # numbers, and bytes
        tree = tree_of(variables)
        codes = np.array([[times * v for v in row] + [7] * padding for row in rows], np.int32)
        codes[codes < 0] = -1
        expected = list(dict.fromkeys(map(tuple, codes.tolist())))
        assert list(map(tuple, tree.unique(codes).tolist())) == expected
        order = np.argsort(tree.keys(codes), kind="stable")
        assert codes[order].tolist() == sorted(codes.tolist())


def test_unique_of_nothing(tree):
    assert tree.unique(np.zeros((0, 5), dtype=np.int32)).shape == (0, 5)


def test_components_follow_conditions_and_ties(tree):
    assert tree.components([]) == [[0, 1, 2, 3, 4]]
    flat = tree_of({f"x{i}": {"kind": "integer", "low": 0, "high": 5} for i in range(5)})
    assert flat.components([]) == [[0], [1], [2], [3], [4]]
    assert flat.components([{0, 3}, {3, 4}, {1}]) == [[0, 3, 4], [1], [2]]
