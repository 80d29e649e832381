"""Derived quantities, rules and effort over columns."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.expressions import Column
from experiments.formulas import Formulas
from experiments.plan import Plan

PLAN = Plan.from_dict(
    {
        "name": "f",
        "variables": {
            "process": {"kind": "choice", "levels": ["resin", "filament"]},
            "cure": {
                "kind": "continuous", "low": 0, "high": 40, "step": 1,
                "only_when": {"process": ["resin"]},
            },
            "wall": {"kind": "continuous", "low": 0.2, "high": 1, "step": 0.1},
            "layer": {"kind": "ordered", "levels": [0.05, 0.1]},
        },
        "derived": {
            "layers": {"formula": "wall / layer"},
            "heat": {"formula": "layers * cure"},
            "unused": {"formula": "heat + 1"},
        },
        "rules": {
            "whole": "layers % 1 == 0", "heat_is_enough": "heat >= 20", "plain": "wall > 0.3",
        },
        "effort": {
            "minutes": "10 * layers + cure + (5 if process == 'resin' else 0)",
            "money": "price * mass + wall",
            "assume": {"price": 2},
        },
        "metrics": {"y": {"goal": "minimise"}, "mass": {"from": "hand"}},
    }
)  # fmt: skip


@pytest.fixture
def formulas():
    return Formulas(PLAN)


@pytest.fixture
def columns():
    process = Column(np.array([0, 0, 1]), np.zeros(3, dtype=bool), ("resin", "filament"))
    return {
        "process": process,
        "cure": Column.of(np.array([10.0, 1.0, np.nan])),
        "wall": Column.of(np.array([0.3, 0.4, 0.5])),
        "layer": Column.of(np.array([0.1, 0.1, 0.1])),
    }


def test_what_a_rule_rests_on(formulas):
    assert formulas.needs("whole") == {"wall", "layer"}
    assert formulas.needs("heat_is_enough") == {"wall", "layer", "cure"}
    assert formulas.needs("plain") == {"wall"}


def test_derived_quantities(formulas, columns):
    full = formulas.with_derived(columns)
    np.testing.assert_allclose(full["layers"].values, [3, 4, 5])
    np.testing.assert_allclose(full["heat"].values[:2], [30, 4])
    assert full["heat"].inactive.tolist() == [False, False, True]
    assert full["unused"].inactive.tolist() == [False, False, True]
    assert set(columns) == {"process", "cure", "wall", "layer"}


def test_only_what_is_wanted_is_computed(formulas, columns):
    assert set(formulas.with_derived(columns, frozenset({"heat"}))) == {
        *columns, "layers", "heat"
    }  # fmt: skip
    assert set(formulas.with_derived(columns, frozenset({"wall"}))) == set(columns)


def test_rules(formulas, columns):
    assert formulas.holds("whole", columns).tolist() == [True, True, True]
    assert formulas.holds("heat_is_enough", columns).tolist() == [True, False, True]
    assert formulas.holds("plain", columns).tolist() == [False, True, True]


def test_a_rule_needs_only_its_own_columns(formulas, columns):
    assert formulas.holds("plain", {"wall": columns["wall"]}).tolist() == [False, True, True]


def test_minutes_count_an_inactive_number_as_nothing(formulas, columns):
    found = formulas.costs("minutes", columns, {}, 3)
    np.testing.assert_allclose(found, [30 + 10 + 5, 40 + 1 + 5, 50])


def test_money_needs_the_mass_or_says_nothing(formulas, columns):
    assert np.isnan(formulas.costs("money", columns, {}, 3)).all()
    mass = {"mass": Column.of(np.array([1.0, np.nan, 3.0]))}
    np.testing.assert_allclose(
        formulas.costs("money", columns, mass, 3), [2 * 1 + 0.3, np.nan, 2 * 3 + 0.5]
    )


def test_an_assumed_value_gives_way_to_a_known_one(formulas, columns):
    price = {"price": Column.of(np.array([10.0, np.nan, np.nan])),
             "mass": Column.of(np.ones(3))}  # fmt: skip
    np.testing.assert_allclose(formulas.costs("money", columns, price, 3), [10.3, 2.4, 2.5])


def test_no_formula_no_cost(columns):
    plain = Formulas(Plan.from_dict({"name": "n", "variables": {"wall": PLAN.to_dict()[
        "variables"]["wall"]}, "metrics": {"y": {"goal": "minimise"}}}))  # fmt: skip
    assert np.isnan(plain.costs("money", columns, {}, 3)).all()
