"""Counts against combinatorics, going through combinations against itertools."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from experiments.counting import Rule, TooMany, count_free, estimate, walk
from experiments.plan import Plan
from experiments.tree import Tree


def tree_of(variables):
    metrics = {"m": {"goal": "minimise"}}
    return Tree(
        Plan.from_dict({"name": "t", "variables": variables, "metrics": metrics}).variables
    )


def integers(number, high):
    return {f"x{i}": {"kind": "integer", "low": 0, "high": high} for i in range(number)}


def rule(columns, holds):
    return Rule("r", frozenset(columns), holds)


def everything(tree):
    return range(len(tree.names))


def gates(number):
    """`number` choices a/b, each with a child of 5 values under b: (1 + 5) ** number recipes."""
    variables = {}
    for i in range(number):
        variables[f"p{i}"] = {"kind": "choice", "levels": ["a", "b"]}
    for i in range(number):
        variables[f"c{i}"] = {
            "kind": "integer", "low": 1, "high": 5, "only_when": {f"p{i}": ["b"]}
        }  # fmt: skip
    return variables


def test_products():
    tree = tree_of(integers(6, 100))
    assert count_free(tree, everything(tree)) == 101**6
    assert count_free(tree, [0, 3]) == 101**2


def test_sums_of_products_are_exact_however_large():
    tree = tree_of(gates(60))
    assert count_free(tree, everything(tree)) == 6**60


def test_a_chain_of_conditions():
    # Each knob exists only at 1 of the one above: 1 + (1 + (1 + ...)) recipes.
    variables = {"x0": {"kind": "integer", "low": 0, "high": 1}}
    for i in range(1, 30):
        variables[f"x{i}"] = {
            "kind": "integer", "low": 0, "high": 1, "only_when": {f"x{i - 1}": [1]}
        }  # fmt: skip
    tree = tree_of(variables)
    assert count_free(tree, everything(tree)) == 31


def test_two_parents_of_one_child():
    tree = tree_of(
        {
            "a": {"kind": "integer", "low": 0, "high": 9},
            "b": {"kind": "choice", "levels": ["p", "q", "r"]},
            "c": {
                "kind": "integer", "low": 1, "high": 7, "only_when": {"a": [2, 3, 5], "b": ["q"]},
            },
        }
    )  # fmt: skip
    assert count_free(tree, everything(tree)) == 3 * 7 + (30 - 3)


def test_an_integer_parent_with_many_values_is_counted_by_classes():
    tree = tree_of(
        {
            "a": {"kind": "integer", "low": 0, "high": 99_999},
            "b": {"kind": "integer", "low": 1, "high": 4, "only_when": {"a": [1, 2]}},
            "c": {"kind": "integer", "low": 1, "high": 3, "only_when": {"a": [2, 3]}},
        }
    )
    assert count_free(tree, everything(tree)) == 4 + 4 * 3 + 3 + (100_000 - 3)


def test_a_thicket_of_conditions_is_given_up():
    variables = {f"p{i}": {"kind": "integer", "low": 0, "high": 1} for i in range(24)}
    variables["c"] = {
        "kind": "integer", "low": 0, "high": 1, "only_when": {f"p{i}": [1] for i in range(24)}
    }  # fmt: skip
    tree = tree_of(variables)
    with pytest.raises(TooMany):
        count_free(tree, everything(tree))


def rows_of(chunks):
    found = [tuple(row) for chunk in chunks for row in chunk.tolist()]
    assert len(set(found)) == len(found)
    return set(found)


def test_walking_without_rules_gives_the_product():
    tree = tree_of(integers(3, 4))
    assert rows_of(walk(tree, [], everything(tree), 1000)) == set(
        itertools.product(range(5), repeat=3)
    )


def test_walking_some_columns_leaves_the_others_unsettled():
    tree = tree_of(integers(3, 1))
    assert rows_of(walk(tree, [], [1], 100)) == {(-1, 0, -1), (-1, 1, -1)}


def test_walking_follows_conditions():
    tree = tree_of(gates(3))
    found = rows_of(walk(tree, [], everything(tree), 10_000))
    assert len(found) == 6**3
    assert tree.well_formed(np.array(sorted(found), dtype=np.int32)).all()


def test_rules_are_kept_and_pruned_early():
    # x0 < x1 < ... < x5 out of 30: (30 over 6) ways, found by looking at few of 30**6.
    tree = tree_of(integers(6, 29))
    rules = [rule({i, i + 1}, lambda codes, i=i: codes[:, i] < codes[:, i + 1]) for i in range(5)]
    most = 30**6 // 100
    number = sum(len(rows) for rows in walk(tree, rules, everything(tree), most))
    assert number == math.comb(30, 6)


def test_variables_of_one_rule_are_taken_together():
    # Three pairs of equal knobs, each pair far apart in the plan: 30**3 of 30**6 combinations.
    tree = tree_of(integers(6, 29))
    rules = [rule({i, i + 3}, lambda codes, i=i: codes[:, i] == codes[:, i + 3]) for i in range(3)]
    assert sum(len(rows) for rows in walk(tree, rules, everything(tree), 1_000_000)) == 30**3


def test_walking_gives_up_when_told_to():
    tree = tree_of(integers(6, 29))
    with pytest.raises(TooMany):
        list(walk(tree, [], everything(tree), 10_000))


def test_walking_keeps_memory_bounded():
    tree = tree_of(integers(4, 99))
    looked = 0
    for rows in walk(tree, [], everything(tree), 10**9):
        assert len(rows) <= 1 << 17
        looked += len(rows)
        if looked > 1_000_000:
            break


def test_the_estimate_agrees_with_stars_and_bars():
    # x0 + ... + x3 <= 20 with 0 <= x <= 20: (24 over 4) ways (stars and bars).
    tree = tree_of(integers(4, 20))
    rules = [rule({0, 1, 2, 3}, lambda codes: codes.sum(axis=1) <= 20)]
    points = np.random.default_rng(5).random((200_000, 4))
    number, hits = estimate(tree, rules, everything(tree), points)
    exact = math.comb(24, 4)
    share = exact / 21**4
    error = 21**4 * math.sqrt(share * (1 - share) / 200_000)  # binomial
    assert abs(number - exact) < 4 * error
    assert abs(hits / 200_000 - share) < 4 * error / 21**4


def test_the_estimate_is_unbiased_where_branches_differ_in_size():
    tree = tree_of(
        {
            "p": {"kind": "choice", "levels": ["small", "large"]},
            "x": {"kind": "integer", "low": 0, "high": 99, "only_when": {"p": ["large"]}},
            "y": {"kind": "integer", "low": 0, "high": 99, "only_when": {"p": ["large"]}},
        }
    )
    rules = [rule({1, 2}, lambda codes: (codes[:, 1] < 0) | (codes[:, 1] < codes[:, 2]))]
    exact = 1 + math.comb(100, 2)
    rng = np.random.default_rng(11)
    found = [estimate(tree, rules, [0, 1, 2], rng.random((4_000, 3)))[0] for _ in range(50)]
    error = np.std(found) / math.sqrt(len(found))
    assert abs(np.mean(found) - exact) < 4 * error
    assert error < 0.01 * exact  # so that the line above means something
