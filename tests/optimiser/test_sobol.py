"""Sobol indices of functions whose indices are known, and against SALib."""

from __future__ import annotations

import numpy as np
import pytest
from SALib.analyze import sobol as salib_sobol
from SALib.sample import sobol as salib_sample

from experiments.plan import Plan
from experiments.space import Space
from optimiser.sobol import draw_sample, second_order, sobol_indices
from tests.functions import (
    ISHIGAMI_FIRST,
    ISHIGAMI_SECOND,
    ISHIGAMI_TOTAL,
    g_indices,
    g_problem,
    g_second_order,
    ishigami_problem,
)


def indices_of(problem, size: int = 8192):
    space = Space(problem.plan)

    def function(codes):
        return problem.function(space.frame(codes).to_numpy(dtype=float))[None, :]

    return sobol_indices(function, draw_sample(space, size, seed=1), seed=2)


def test_ishigami():
    # Ishigami & Homma (1990); closed-form indices. The grid of 101 values changes them by < 0.01.
    found = indices_of(ishigami_problem())
    np.testing.assert_allclose(found.first[0], ISHIGAMI_FIRST, atol=0.02)
    np.testing.assert_allclose(found.total[0], ISHIGAMI_TOTAL, atol=0.02)
    assert found.variance[0] == pytest.approx(13.844588, rel=0.04)


def test_sobol_g():
    # Saltelli et al. (2008), a = (0, 1, 4.5, 9, 99, 99, 99, 99).
    a = (0.0, 1.0, 4.5, 9.0, 99.0, 99.0, 99.0, 99.0)
    first, total = g_indices(a)
    assert first[0] == pytest.approx(0.716192, abs=1e-6)
    assert total[1] == pytest.approx(0.242198, abs=1e-6)
    found = indices_of(g_problem(a))
    np.testing.assert_allclose(found.first[0], first, atol=0.025)
    np.testing.assert_allclose(found.total[0], total, atol=0.025)


def test_agrees_with_salib_on_a_function_without_closed_form():
    def function(x):
        return np.exp(x[:, 0]) * x[:, 1] + np.sin(6 * x[:, 2] * x[:, 0])

    problem = g_problem((1.0, 1.0, 1.0))
    space = Space(problem.plan)

    def ours(codes):
        return function(space.frame(codes).to_numpy(dtype=float))[None, :]

    names = {"num_vars": 3, "names": ["a", "b", "c"], "bounds": [[0, 1]] * 3}
    sample = salib_sample.sample(names, 4096, calc_second_order=False, seed=1)
    theirs = salib_sobol.analyze(names, function(sample), calc_second_order=False, seed=1)
    found = sobol_indices(ours, draw_sample(space, 8192, seed=1), seed=2)
    np.testing.assert_allclose(found.first[0], theirs["S1"], atol=0.025)
    np.testing.assert_allclose(found.total[0], theirs["ST"], atol=0.025)


def test_a_factorial_agrees_with_its_sums_of_squares():
    # Box, Hunter & Hunter's pilot plant 2^3 (from memory): effects T 23, C -5, K 1.5, TC 1.5,
    # TK 10, CK 0, TCK 0.5; an index is a squared effect over the sum of all squared effects.
    response = np.array([60, 72, 54, 68, 52, 83, 45, 80], dtype=float)
    plan = Plan.from_dict(
        {
            "name": "pilot plant",
            "variables": {
                name: {"kind": "choice", "levels": ["low", "high"]} for name in ("t", "c", "k")
            },
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    space = Space(plan)
    squares = {
        name: value**2
        for name, value in zip(
            ("t", "c", "k", "tc", "tk", "ck", "tck"),
            (23.0, -5.0, 1.5, 1.5, 10.0, 0.0, 0.5),
            strict=True,
        )
    }
    whole = sum(squares.values())
    first = [squares[name] / whole for name in "tck"]
    total = [sum(v for name, v in squares.items() if key in name) / whole for key in "tck"]

    def function(codes):
        return response[codes[:, 0] + 2 * codes[:, 1] + 4 * codes[:, 2]][None, :]

    found = sobol_indices(function, draw_sample(space, 4096, seed=1), seed=2)
    np.testing.assert_allclose(found.first[0], first, atol=0.01)
    np.testing.assert_allclose(found.total[0], total, atol=0.02)
    pairs = second_order(function, draw_sample(space, 4096, seed=1, even=False))
    for (i, j), name in {(0, 1): "tc", (0, 2): "tk", (1, 2): "ck"}.items():
        assert pairs[i, j][0] == pytest.approx(squares[name] / whole, abs=0.01)


def second_order_of(problem, size: int = 16384, bins: int = 16):
    space = Space(problem.plan)

    def function(codes):
        return problem.function(space.frame(codes).to_numpy(dtype=float))[None, :]

    return second_order(function, draw_sample(space, size, seed=1, even=False), bins=bins)


@pytest.mark.parametrize(
    ("problem", "known"),
    [
        (ishigami_problem(), ISHIGAMI_SECOND),
        (g_problem((0.0, 1.0, 4.5, 9.0)), g_second_order((0.0, 1.0, 4.5, 9.0))),
    ],
    ids=["ishigami", "sobol g"],
)
def test_second_order_indices_of_known_functions(problem, known):
    # Groups of a sixteenth of a range lose 2 to 4 % of a smooth interaction; the rest is chance.
    found = second_order_of(problem)
    assert set(found) == set(known)
    for pair, index in known.items():
        assert found[pair][0] == pytest.approx(index, abs=0.02)


def test_second_order_indices_agree_with_salib():
    def function(x):
        return np.exp(x[:, 0]) * x[:, 1] + np.sin(3 * x[:, 2] * x[:, 0])

    space = Space(g_problem((1.0, 1.0, 1.0)).plan)

    def ours(codes):
        return function(space.frame(codes).to_numpy(dtype=float))[None, :]

    names = {"num_vars": 3, "names": ["a", "b", "c"], "bounds": [[0, 1]] * 3}
    sample = salib_sample.sample(names, 8192, calc_second_order=True, seed=1)
    theirs = salib_sobol.analyze(names, function(sample), calc_second_order=True, seed=1)
    found = second_order(ours, draw_sample(space, 16384, seed=1, even=False))
    assert max(theirs["S2"][0, 1], theirs["S2"][0, 2]) > 0.03  # there is something to agree on
    for (i, j), index in found.items():
        assert index[0] == pytest.approx(theirs["S2"][i, j], abs=0.015)


def test_a_conditional_variable_is_judged_among_the_recipes_that_have_it(mixed_plan):
    # Process moves the mean by 10, cure time moves resin alone: nearly nothing of the whole
    # variance, two thirds of it among resins (of 2 independent parts, variances 2 to 1).
    space = Space(mixed_plan)
    cure, wall = (mixed_plan.variables[name].grid.astype(float) for name in ("cure_time", "wall"))
    names = list(mixed_plan.variables)
    at = {name: names.index(name) for name in names}

    def function(codes):
        resin = codes[:, at["cure_time"]] >= 0
        scaled = (cure - cure.mean()) / cure.std() * np.sqrt(2)
        y = np.where(resin, 10 + scaled[codes[:, at["cure_time"]]], 0.0)
        return (y + ((wall - wall.mean()) / wall.std())[codes[:, at["wall"]]])[None, :]

    sample = draw_sample(space, 4096, seed=1)
    found = sobol_indices(function, sample, seed=2)
    y = function(sample.recipes())[0]
    resin = sample.recipes()[:, at["cure_time"]] >= 0
    expected = 2.0 / y[resin].var()
    assert expected > 0.6
    assert found.total_active[0, at["cure_time"]] == pytest.approx(expected, abs=0.04)
    assert found.first_active[0, at["cure_time"]] == pytest.approx(expected, abs=0.04)
    assert found.total[0, at["cure_time"]] < 0.1
    np.testing.assert_allclose(found.total_active[0, at["wall"]], found.total[0, at["wall"]])
    pairs = second_order(function, sample)
    assert np.isnan(pairs[at["cure_time"], at["nozzle"]]).all()


def test_with_rules_the_definitions_hold_by_enumeration(mixed_plan):
    space = Space(mixed_plan)
    rng = np.random.default_rng(0)
    tables = [rng.normal(size=len(v.grid) + 1) for v in mixed_plan.variables.values()]

    def function(codes):
        value = sum(table[codes[:, place]] for place, table in enumerate(tables))
        return (value + tables[3][codes[:, 3]] * tables[0][codes[:, 0]])[None, :]

    lengths = [len(v.grid) for v in mixed_plan.variables.values()]
    full = np.array(list(np.ndindex(*lengths)), dtype=np.int32)
    full = full[space.printable_codes(space.active_codes(full))]
    y = function(space.active_codes(full))[0]
    found = sobol_indices(function, draw_sample(space, 8192, seed=1), seed=2)
    for place in range(len(lengths)):
        groups = full[:, place]
        means = np.array([y[groups == g].mean() for g in np.unique(groups)])
        shares = np.array([(groups == g).mean() for g in np.unique(groups)])
        first = shares @ (means - y.mean()) ** 2 / y.var()
        assert found.first[0, place] == pytest.approx(first, abs=0.025)
        others = np.delete(full, place, axis=1)
        _, cell = np.unique(others, axis=0, return_inverse=True)
        cell = cell.ravel()
        sizes = np.bincount(cell)
        centre = np.bincount(cell, y) / sizes
        total = np.mean((y - centre[cell]) ** 2) / y.var()
        assert found.total[0, place] == pytest.approx(total, abs=0.03)


def test_a_constant_function_has_no_indices():
    space = Space(g_problem((1.0, 1.0)).plan)
    found = sobol_indices(
        lambda codes: np.full((1, len(codes)), 3.0), draw_sample(space, 256, 0), seed=0
    )
    assert np.isnan(found.first).all()
    assert np.isnan(found.total).all()
