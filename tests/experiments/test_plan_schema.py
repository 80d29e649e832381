"""Keys and types of a plan, and how a wrong one is reported."""

from __future__ import annotations

import pytest

from experiments.acoustics import catalogue
from experiments.plan_schema import (
    FileKeys,
    MetricKeys,
    PlanKeys,
    Problems,
    SessionsKeys,
    VariableKeys,
    read,
    show,
)


def refused(model, data, where="here"):
    problems = Problems()
    read(model, data, where, problems)
    assert problems
    return problems


def test_good_keys_come_back_typed():
    problems = Problems()
    keys = read(VariableKeys, {"kind": "integer", "low": 1, "high": 3}, "here", problems)
    assert (keys.low, keys.high, keys.scale, keys.per) == (1.0, 3.0, "linear", "cone")
    assert not problems


@pytest.mark.parametrize(
    ("data", "where", "found", "expected", "remedy"),
    [
        ({}, "here.kind", "nothing", "continuous, integer, ordered, choice", ""),
        ({"kind": "Choise"}, "here.kind", '"Choise"', '"ordered" or "choice"', "'choice'"),
        ({"kind": "choice", "steps": 1}, "here.steps", "'steps'", "known key", "'step'"),
        ({"kind": "choice", "zzz": 1}, "here.zzz", "'zzz'", "one of kind, unit, low", ""),
        ({"kind": "choice", "low": "3"}, "here.low", '"3"', "a number", ""),
        ({"kind": "choice", "low": True}, "here.low", "true", "a number", ""),
        ({"kind": "choice", "low": float("nan")}, "here.low", "nan", "finite", ""),
        ({"kind": "choice", "low": float("inf")}, "here.low", "inf", "finite", ""),
        ({"kind": "choice", "step": 0}, "here.step", "0", "above 0", ""),
        ({"kind": "choice", "setup_minutes": -1}, "here.setup_minutes", "-1", "at least 0", ""),
        ({"kind": "choice", "unit": 3}, "here.unit", "3", "text in quotes", ""),
        ({"kind": "choice", "levels": "ab"}, "here.levels", '"ab"', "square brackets", ""),
        ({"kind": "choice", "only_when": []}, "here.only_when", "[]", "a table", ""),
        ({"kind": "choice", "per": "print"}, "here.per", '"print"', '"cone" or "plate"', ""),
        ("choice", "here", '"choice"', "a table", ""),
    ],
)
def test_problems_of_a_variable(data, where, found, expected, remedy):
    (problem,) = refused(VariableKeys, data)
    assert problem.where == where
    assert found in problem.found
    assert expected in problem.expected
    assert remedy in problem.remedy


@pytest.mark.parametrize(
    ("model", "data", "where", "expected"),
    [
        (PlanKeys, {"name": "", "variables": {}, "metrics": {}}, "name", "some text"),
        (PlanKeys, {"name": "n" * 300, "variables": {}, "metrics": {}}, "name", "200 characters"),
        (
            PlanKeys,
            {"name": "n", "seed": -1, "variables": {}, "metrics": {}},
            "seed",
            "at least 0",
        ),
        (PlanKeys, {"name": "n", "seed": 1.5, "variables": {}, "metrics": {}}, "seed", "whole"),
        (PlanKeys, {"name": "n", "seed": 2**32, "variables": {}, "metrics": {}}, "seed", "below"),
        (PlanKeys, {"name": "n", "metrics": {}}, "variables", "the key 'variables'"),
        (SessionsKeys, {"reference_cone": 0}, "reference_cone", "at least 1"),
        (SessionsKeys, {"reference_cone": "1"}, "reference_cone", "a whole number"),
        (MetricKeys, {"form": "hand"}, "form", "known key"),
        (MetricKeys, {"from": "file"}, "from", '"hand"'),
        (MetricKeys, {"weight": 0}, "weight", "above 0"),
        (MetricKeys, {"smooth": 500}, "smooth", "at most 192"),
        (FileKeys, {"decimal": ";"}, "decimal", '"," '.strip()),
        (FileKeys, {"columns": ["a", 1]}, "columns.1", "text in quotes"),
        (FileKeys, {"channel": 0}, "channel", "at least 1"),
        (FileKeys, {"sweep": "20-20000"}, "sweep", "F1:F2:SECONDS"),
    ],
)
def test_problems_elsewhere(model, data, where, expected):
    (problem,) = refused(model, data, "")
    assert problem.where == where
    assert expected in problem.expected


def test_all_problems_of_a_table_at_once():
    problems = refused(VariableKeys, {"kind": "x", "low": "a", "high": "b", "other": 1})
    assert {p.where for p in problems} == {"here.kind", "here.low", "here.high", "here.other"}


def test_metric_options_are_those_of_the_catalogue():
    options = set(MetricKeys.model_fields) & set(catalogue.OPTION_NAMES)
    assert options == set(catalogue.OPTION_NAMES)


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        ("resin", '"resin"'),
        (True, "true"),
        (2.0, "2"),
        (0.25, "0.25"),
        (10**400, "a number with very many digits"),
        ([1, "a"], '[1, "a"]'),
        ({"a": 1, "b": 2}, "a table with a, b"),
        ({}, "a table with nothing in it"),
        (None, "None"),
    ],
)
def test_values_are_shown_as_a_plan_would_write_them(value, shown):
    assert show(value) == shown


def test_long_values_are_shortened():
    assert len(show("x" * 1000)) == 80
    assert len(show(list(range(1000)))) <= 80
