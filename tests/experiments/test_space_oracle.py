"""The recipes of small plans, held against going through every combination by hand."""

from __future__ import annotations

import itertools

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from experiments.errors import PlanError, RecipeError
from experiments.plan import Plan
from experiments.space import Count, Space
from tests.examples import examples

WORDS = ["p", "q", "r"]


@st.composite
def small_plans(draw):
    """Up to five variables with up to four values each, conditions and rules among them.

    Gives the variables as a plan has them, their values, and rules as pairs of a text and a
    function of a recipe (None where inactive) that says the same.
    """
    names = [f"v{i}" for i in range(draw(st.integers(1, 5)))]
    variables, values = {}, {}
    for name in names:
        size = draw(st.integers(1, 4))
        kind = draw(st.sampled_from(["choice", "words", "ordered", "integer", "continuous"]))
        if kind in ("choice", "words"):
            values[name] = WORDS[: min(size, 3)]
            variables[name] = {
                "kind": "choice" if kind == "choice" else "ordered", "levels": values[name]
            }  # fmt: skip
        elif kind == "ordered":
            values[name] = [float(k * k) for k in range(1, size + 1)]
            variables[name] = {"kind": "ordered", "levels": values[name]}
        else:
            size = max(size, 2)
            step = 1 if kind == "integer" else 0.5
            values[name] = [k * step for k in range(size)]
            variables[name] = {
                "kind": kind, "low": 0, "high": values[name][-1], "step": step
            }  # fmt: skip
    ancestry = draw(st.permutations(names))
    for place, name in enumerate(ancestry):
        gates = [n for n in ancestry[:place] if variables[n]["kind"] != "continuous"]
        parents = draw(st.lists(st.sampled_from(gates), max_size=2, unique=True)) if gates else []
        if parents:
            variables[name]["only_when"] = {
                parent: draw(st.lists(st.sampled_from(values[parent]), min_size=1, unique=True))
                for parent in parents
            }
    return variables, values, draw(rules_for(names, variables))


@st.composite
def rules_for(draw, names, variables):
    numbers = [n for n in names if variables[n].get("levels", [0])[0] not in WORDS]
    words = [n for n in names if n not in numbers]
    rules = []
    for _ in range(draw(st.integers(0, 3))):
        shape = draw(st.sampled_from(["sum", "word", "either", "branch"]))
        bound = draw(st.sampled_from([0.5, 1.0, 2.0, 4.0]))
        if shape == "sum" and numbers:
            a, b = draw(st.sampled_from(numbers)), draw(st.sampled_from(numbers))
            rules.append(
                (f"{a} + {b} <= {bound}",
                 lambda r, a=a, b=b, k=bound: None in (r[a], r[b]) or r[a] + r[b] <= k)
            )  # fmt: skip
        elif shape == "word" and words:
            w = draw(st.sampled_from(words))
            rules.append((f"{w} != 'p'", lambda r, w=w: r[w] != "p"))
        elif shape == "either" and words and numbers:
            w, a = draw(st.sampled_from(words)), draw(st.sampled_from(numbers))
            rules.append(
                (f"{w} == 'p' or {a} >= {bound}",
                 lambda r, w=w, a=a, k=bound: r[w] in ("p", None) or r[a] is None or r[a] >= k)
            )  # fmt: skip
        elif shape == "branch" and words and numbers:
            w, a = draw(st.sampled_from(words)), draw(st.sampled_from(numbers))
            rules.append(
                (f"{a} > 0 if {w} == 'p' else True",
                 lambda r, w=w, a=a: r[w] != "p" or r[a] is None or r[a] > 0)
            )  # fmt: skip
    return rules


class Oracle:
    def __init__(self, variables, values, rules):
        self.variables, self.values, self.rules = variables, values, rules

    def active(self, name, recipe):
        return all(
            self.active(parent, recipe) and recipe[parent] in allowed
            for parent, allowed in self.variables[name].get("only_when", {}).items()
        )

    def right(self, recipe):
        """Whether values stand exactly where variables are active."""
        return all((recipe[n] is not None) == self.active(n, recipe) for n in self.variables)

    def printable(self, recipe):
        return self.right(recipe) and all(holds(recipe) for _, holds in self.rules)

    def combinations(self):
        for row in itertools.product(*([*self.values[n], None] for n in self.variables)):
            yield dict(zip(self.variables, row, strict=True))

    def recipes(self):
        return [recipe for recipe in self.combinations() if self.printable(recipe)]

    def resettle(self, recipe):
        """Drop what is inactive, give the middle of the grid to what became active."""
        settled, names = {}, list(self.variables)
        while names:
            for name in list(names):
                parents = self.variables[name].get("only_when", {})
                if set(parents) <= set(settled):
                    on = all(settled[p] in allowed for p, allowed in parents.items())
                    grid = self.values[name]
                    middle = grid[(len(grid) - 1) // 2]
                    known = recipe[name] if recipe[name] is not None else middle
                    settled[name] = known if on else None
                    names.remove(name)
        return {name: settled[name] for name in self.variables}

    def neighbours(self, recipe):
        found = []
        for name, value in recipe.items():
            grid = self.values[name]
            if value is None:
                continue
            if isinstance(value, str):
                moves = [other for other in grid if other != value]
            else:
                place = grid.index(value)
                moves = grid[max(0, place - 1) : place] + grid[place + 1 : place + 2]
            found += [self.resettle(recipe | {name: move}) for move in moves]
        return [n for n in found if self.printable(n)]


def frozen(recipe):
    return tuple(sorted((name, value) for name, value in recipe.items() if value is not None))


def build(drawn):
    variables, values, rules = drawn
    try:
        texts = {f"r{i}": text for i, (text, _) in enumerate(rules)}
        metrics = {"y": {"goal": "minimise"}}
        space = Space(
            Plan.from_dict(
                {"name": "s", "variables": variables, "rules": texts, "metrics": metrics}
            )
        )
    except PlanError as error:
        assume("never active" not in str(error))
        raise
    return space, Oracle(variables, values, rules)


def recipes_of(space, frame):
    return [frozen(space.settings(row)) for _, row in frame.iterrows()]


QUICK = settings(
    max_examples=examples(80), deadline=None, suppress_health_check=[HealthCheck.too_slow]
)


@QUICK
@given(small_plans())
def test_enumerating_and_counting_agree_with_the_oracle(drawn):
    space, oracle = build(drawn)
    expected = [frozen(recipe) for recipe in oracle.recipes()]
    frame = space.enumerate(5_000)
    found = recipes_of(space, frame)
    assert sorted(found) == sorted(expected)
    assert len(set(found)) == len(found)
    assert space.count() == Count(len(expected), exact=True)
    codes = space.enumerate_codes(5_000)
    assert codes.dtype == np.int32
    assert codes.tolist() == sorted(codes.tolist())
    np.testing.assert_array_equal(space.codes(frame), codes)


@QUICK
@given(small_plans())
def test_printable_and_active_agree_with_the_oracle(drawn):
    space, oracle = build(drawn)
    every = list(oracle.combinations())
    frame = pd.DataFrame(every, dtype=object)
    assert space.printable(frame).tolist() == [oracle.printable(recipe) for recipe in every]
    active = space.active(frame)
    for name in oracle.variables:
        assert active[name].tolist() == [oracle.active(name, recipe) for recipe in every]


@QUICK
@given(small_plans(), st.integers(0, 40), st.integers(0, 3))
def test_samples_are_different_printable_recipes(drawn, number, seed):
    space, oracle = build(drawn)
    expected = {frozen(recipe) for recipe in oracle.recipes()}
    if number and not expected:
        with pytest.raises(RecipeError, match="no recipe that keeps every rule"):
            space.sample(number, seed)
        return
    found = recipes_of(space, space.sample(number, seed))
    assert len(found) == len(set(found)) == min(number, len(expected))
    assert set(found) <= expected


@QUICK
@given(small_plans(), st.data())
def test_neighbours_agree_with_the_oracle(drawn, data):
    space, oracle = build(drawn)
    recipes = oracle.recipes()
    assume(recipes)
    recipe = data.draw(st.sampled_from(recipes))
    settings_ = {name: value for name, value in recipe.items() if value is not None}
    found = recipes_of(space, space.neighbours(settings_))
    expected = {frozen(neighbour) for neighbour in oracle.neighbours(recipe)}
    assert len(found) == len(set(found))
    assert set(found) == expected


@QUICK
@given(small_plans())
def test_complete_accepts_just_what_is_printable(drawn):
    space, oracle = build(drawn)
    for recipe in itertools.islice(oracle.combinations(), 0, None, 7):
        given_settings = {name: value for name, value in recipe.items() if value is not None}
        if oracle.printable(recipe):
            assert space.complete(given_settings) == given_settings
            assert space.broken_rules(given_settings) == []
        else:
            with pytest.raises(RecipeError):
                space.complete(given_settings)
            if oracle.right(recipe):
                broken = [
                    f"r{i}" for i, (_, holds) in enumerate(oracle.rules) if not holds(recipe)
                ]
                assert space.broken_rules(given_settings) == broken
