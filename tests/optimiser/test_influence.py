"""Which knobs matter, through the surrogate."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.errors import TrialsError
from experiments.plan import Plan
from experiments.space import Space
from optimiser import sensitivity
from tests.functions import (
    ISHIGAMI_FIRST,
    ISHIGAMI_SECOND,
    ISHIGAMI_TOTAL,
    g_indices,
    g_problem,
    g_second_order,
    ishigami_problem,
    unit_plan,
)
from tests.studies import repeats


def by_name(result):
    table = result.table().set_index("variable")
    return table.loc[sorted(table.index)]


@pytest.fixture(scope="module")
def ishigami():
    """What is told of Ishigami's function from 200 noiseless trials."""
    problem = ishigami_problem()
    return sensitivity(problem.plan, problem.trials(200, 0.0, seed=1), "y", seed=0)


@pytest.fixture(scope="module")
def sobol_g():
    """What is told of the g function from 150 noiseless trials."""
    problem = g_problem()
    return sensitivity(problem.plan, problem.trials(150, 0.0, seed=1), seed=0)


def test_ishigami_from_200_noiseless_trials(ishigami):
    table = by_name(ishigami)
    np.testing.assert_allclose(table["first"], ISHIGAMI_FIRST, atol=0.06)
    np.testing.assert_allclose(table["total"], ISHIGAMI_TOTAL, atol=0.06)
    assert (table["verdict"] == "matters").all()


def test_pairs_that_act_together_and_pairs_that_do_not(ishigami, sobol_g):
    # Interactions in closed form: Ishigami 0.244 of x1 with x3, the g function 0.060 of x1 with
    # x2. Groups of a twelfth of a range lose some 8 % of the first; sharp bends are smoothed.
    result = ishigami
    found = {(pair.a, pair.b): pair for pair in result.pairs}
    assert found["x1", "x3"].index.mean == pytest.approx(ISHIGAMI_SECOND[0, 2], abs=0.05)
    assert result.pairs[0].verdict == "seen"
    assert (result.pairs[0].a, result.pairs[0].b) == ("x1", "x3")
    assert "seen" not in {found["x1", "x2"].verdict, found["x2", "x3"].verdict}
    assert "Acting together: x1 with x3." in result.text
    # x3 makes no odds at x1 = 0, and 0.1 x3^4 sin x1 at its ends: sin x1 (1 + 0.1 pi^4) + 3.5.
    effect = found["x1", "x3"].effect
    end = effect[effect["b"] == effect["b"].max()]
    truth = np.sin(end["a"]) * (1 + 0.1 * np.pi**4) + 3.5
    # Few trials lie in the corners; a line that did nothing would be 5 off on average.
    assert np.abs(end["mean"] - truth).mean() < 2.0
    assert len(found["x1", "x2"].effect) == 0 or len(found["x2", "x3"].effect) == 0
    first = sobol_g.pairs[0]
    assert (first.a, first.b, first.verdict) == ("x1", "x2", "seen")
    assert first.index.mean == pytest.approx(g_second_order((0.0, 1.0, 4.5, 9.0))[0, 1], abs=0.03)


def test_two_knobs_that_no_recipe_has_both_are_no_pair(mixed_plan):
    trials = Space(mixed_plan).sample(8, seed=1)
    trials = trials.assign(limit=8.0 + np.arange(8), loss=1.0, tone=80.0, status="measured")
    result = sensitivity(mixed_plan, trials, "limit", seed=0)
    named = {frozenset((pair.a, pair.b)) for pair in result.pairs}
    assert frozenset(("cure_time", "nozzle")) not in named
    assert len(named) == 9
    assert all(0 <= pair.index.low <= pair.index.high <= 1 for pair in result.pairs)


def test_sobol_g_from_150_noiseless_trials(sobol_g):
    # The kink at 1/2 is hard for a smooth model: 0.08.
    first, total = g_indices((0.0, 1.0, 4.5, 9.0))
    table = by_name(sobol_g)
    np.testing.assert_allclose(table["first"], first, atol=0.08)
    np.testing.assert_allclose(table["total"], total, atol=0.08)
    assert table.loc["x1", "verdict"] == "matters"
    assert table.loc["x4", "verdict"] == "no effect seen"


def test_few_noisy_trials_have_wide_intervals():
    problem = ishigami_problem()
    few = by_name(sensitivity(problem.plan, problem.trials(12, 0.2, seed=1), "y", seed=0))
    many = by_name(sensitivity(problem.plan, problem.trials(120, 0.2, seed=1), "y", seed=0))
    widths = [(t["total_high"] - t["total_low"]).mean() for t in (few, many)]
    assert widths[0] > 2 * widths[1]


def test_main_effect_follows_the_function(ishigami):
    effect = next(knob.effect for knob in ishigami.knobs if knob.variable == "x2")
    truth = 7 * np.sin(effect["setting"].to_numpy(dtype=float)) ** 2
    np.testing.assert_allclose(effect["mean"], truth, atol=0.8)
    assert np.mean(np.abs(effect["mean"] - truth)) < 0.3
    assert (effect["low"] <= effect["mean"]).all()
    assert (effect["mean"] <= effect["high"]).all()


def test_nothing_to_say_without_data(mixed_plan):
    trials = Space(mixed_plan).sample(4, seed=0).assign(status="planned")
    result = sensitivity(mixed_plan, trials, seed=0)
    assert {knob.verdict for knob in result.knobs} == {"cannot tell yet"}
    assert np.isnan(result.table()["total"]).all()
    assert "Cannot tell yet" in result.text


def test_an_unknown_metric_is_refused():
    problem = g_problem()
    with pytest.raises(TrialsError, match="'z'"):
        sensitivity(problem.plan, problem.trials(5), "z")


def noisy_line(count: int, seed: int, signal: float):
    """Trials of eight knobs of which x1 and x2 act, with noise of the same size."""
    plan = unit_plan("eight", 8)
    recipes = Space(plan).sample(count, seed=seed)
    rng = np.random.default_rng(seed)
    y = signal * (recipes["x1"] + recipes["x2"]) + 0.3 * rng.standard_normal(count)
    return plan, recipes.assign(y=y, status="measured")


@pytest.mark.slow
def test_a_knob_that_does_nothing_is_seldom_said_to_matter():
    dead, alive = [], []
    for seed in range(repeats(20)):
        for signal in (0.0, 1.5):
            result = sensitivity(*noisy_line(24, seed, signal), "y", seed=seed)
            for knob in result.knobs:
                acts = signal > 0 and knob.variable in ("x1", "x2")
                (alive if acts else dead).append(knob.verdict == "matters")
    print(f"said to matter: {np.mean(dead):.3f} of dead knobs, {np.mean(alive):.3f} of live ones")
    assert np.mean(dead) < 0.05
    assert np.mean(alive) > 0.6


def test_what_hangs_on_a_variable_goes_with_it(mixed_plan):
    trials = Space(mixed_plan).sample(16, seed=0)
    limit = 8 + 3.0 * (trials["process"] == "resin")
    trials = trials.assign(limit=limit, loss=1.0, tone=80.0, status="measured")
    knobs = {knob.variable: knob for knob in sensitivity(mixed_plan, trials, "limit").knobs}
    # Without the process, cure time and nozzle would still tell which process it was.
    assert knobs["process"].evidence > 3
    assert knobs["process"].verdict == "matters"
    assert knobs["wall"].evidence < 3


def test_shares_of_the_variance_do_not_exceed_the_whole():
    plan = Plan.from_dict(
        {
            "name": "one",
            "variables": {"wall": {"kind": "ordered", "levels": [0.4, 0.5, 0.6]}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    trials = pd.DataFrame({"wall": [0.4, 0.5, 0.6], "y": [1.0, 3.0, 2.0], "status": "measured"})
    (knob,) = sensitivity(plan, trials, metric="y", seed=0).knobs
    assert 0.9 < knob.total.mean <= 1.0
    assert knob.total.high <= 1.0
