"""The Python contract: every function, on every state that a table of trials can be in."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments import Plan
from experiments.errors import TrialsError
from experiments.space import Space
from optimiser import compare, dead_ends, fit, front, optimum, outlook, propose, sensitivity
from optimiser.answers import Estimate, Pick
from optimiser.proposals import first_cones
from tests.functions import branin_problem


def mixed_trials(plan: Plan, count: int, seed: int = 0) -> pd.DataFrame:
    """Measured trials of the mixed plan, from a smooth truth with some noise."""
    recipes = Space(plan).sample(count, seed=seed) if count else Space(plan).sample(1, 0).iloc[:0]
    rng = np.random.default_rng(seed)
    cure = recipes["cure_time"].fillna(15.0)
    limit = 9 + 2 * (recipes["process"] == "resin") - ((cure - 18) / 12) ** 2 - 3 * recipes["wall"]
    loss = np.exp(0.3 * rng.standard_normal(count) + recipes["layer"].astype(float) * 4)
    return recipes.assign(
        limit=limit + 0.2 * rng.standard_normal(count),
        loss=loss,
        tone=80 + rng.standard_normal(count),
        status="measured",
        cone=np.arange(1, count + 1),
    )


def failed(plan):
    return mixed_trials(plan, 6).assign(status="failed", limit=np.nan, loss=np.nan, tone=np.nan)


def all_equal(plan):
    one = mixed_trials(plan, 1)
    return pd.concat([one] * 6, ignore_index=True).assign(cone=np.arange(6))


def duplicates(plan):
    few = mixed_trials(plan, 5)
    return pd.concat([few, few], ignore_index=True).assign(cone=np.arange(10))


def constant_column(plan):
    return mixed_trials(plan, 12).assign(wall=1.0, limit=8.0)


def missing_metric(plan):
    trials = mixed_trials(plan, 12).assign(tone=np.nan)
    trials.loc[:10, "loss"] = np.nan
    return trials


def half_planned(plan):
    trials = mixed_trials(plan, 14)
    trials.loc[7:, ["limit", "loss", "tone"]] = np.nan
    trials.loc[7:10, "status"] = "planned"
    trials.loc[11:12, "status"] = "printed"
    trials.loc[13, "status"] = "set aside"
    return trials


STATES = {
    **{str(n): lambda plan, n=n: mixed_trials(plan, n) for n in (0, 1, 2, 5, 30, 200)},
    "all failed": failed,
    "all equal": all_equal,
    "duplicates": duplicates,
    "constant column": constant_column,
    "missing metric": missing_metric,
    "half planned": half_planned,
}


# Two hundred cones go the way of thirty, but for seconds; thirty are what each answer's own tests
# have, two are as good as one; four picks are made one after another.
MANY = pytest.param("200", marks=pytest.mark.slow)
FEW = [
    pytest.param(name, marks=pytest.mark.slow) if name in ("2", "30") else name
    for name in STATES
    if name != "200"
]
COUNTS = [*((state, 4) for state in STATES if state != "200"), ("0", 1), ("30", 1), ("30", 2),
          ("half planned", 3), pytest.param("200", 4, marks=pytest.mark.slow)]  # fmt: skip


@pytest.mark.parametrize(("state", "count"), COUNTS)
def test_picks_are_printable_unique_and_repeat(mixed_plan, state, count):
    trials = STATES[state](mixed_plan)
    picks = propose(mixed_plan, trials, count=count, seed=3)
    assert len(picks) == count
    assert all(isinstance(pick, Pick) for pick in picks)
    space = Space(mixed_plan)
    for pick in picks:
        assert space.complete(pick.settings) == pick.settings
        assert set(pick.expected) == set(mixed_plan.metrics)
        assert isinstance(pick.score, Estimate)
        assert pick.why.endswith(".")
        for estimate in [*pick.expected.values(), pick.score]:
            assert np.isnan(estimate.mean) or estimate.low <= estimate.mean <= estimate.high
    assert len({tuple(sorted(pick.settings.items())) for pick in picks}) == count
    again = propose(mixed_plan, trials, count=count, seed=3)
    assert [pick.settings for pick in again] == [pick.settings for pick in picks]
    assert [pick.why for pick in again] == [pick.why for pick in picks]


@pytest.mark.parametrize("state", [*FEW, MANY])
def test_every_answer_works_on_every_state_and_says_what_it_cannot(mixed_plan, state):
    trials = STATES[state](mixed_plan)
    model = fit(mixed_plan, trials, seed=0)
    recipes = Space(mixed_plan).sample(5, seed=1)
    foretold = model.predict(recipes)
    assert list(foretold.columns) == [
        (metric, value) for metric in mixed_plan.metrics for value in ("mean", "sd", "low", "high")
    ]
    assert foretold.index.equals(recipes.index)
    silent = [name for name in mixed_plan.metrics if name not in model.metrics]
    for name in silent:
        assert any(name in note for note in model.notes)
        assert foretold[name].isna().all(axis=None)
    shared = {"seed": 0, "model": model}
    answers = [
        sensitivity(mixed_plan, trials, **shared),
        optimum(mixed_plan, trials, variable="cure_time", **shared),
        compare(mixed_plan, trials, a={"process": "resin"}, b={"process": "filament"}, **shared),
        dead_ends(mixed_plan, trials, **shared),
        front(mixed_plan, trials, **shared),
        outlook(mixed_plan, trials, **shared),
    ]
    for answer in answers:
        assert answer.text.endswith(".")
        assert answer.cones == model.cones or answer.cones <= model.cones
        if not model.scorable:
            assert "cannot tell yet" in answer.text.lower()


@pytest.mark.parametrize("state", FEW)
def test_a_trading_plan_works_on_every_state(mixed_plan, state):
    plan = Plan.from_dict({**mixed_plan.to_dict(), "goal": "trade"})
    trials = STATES[state](plan)
    picks = propose(plan, trials, count=2, seed=3)
    assert len({tuple(sorted(pick.settings.items())) for pick in picks}) == 2
    for pick in picks:
        assert Space(plan).complete(pick.settings) == pick.settings
        assert pick.why.endswith(".")
        assert "score" not in pick.why
        assert np.isnan(pick.exploration) or 0 <= pick.exploration <= 1
    assert [pick.why for pick in propose(plan, trials, count=2, seed=3)] == [
        pick.why for pick in picks
    ]
    answer = outlook(plan, trials)
    assert "score" not in answer.text
    assert answer.verdict in ("no verdict", "cannot tell yet")


def test_the_contract_word_for_word(mixed_plan):
    trials = mixed_trials(mixed_plan, 12)
    picks = propose(mixed_plan, trials, count=1, seed=0, candidates=None)
    assert isinstance(picks, list)
    settings = picks[0].settings
    assert isinstance(settings["process"], str)
    assert ("cure_time" in settings) == (settings["process"] == "resin")
    assert {"mean", "low", "high"} <= set(vars(picks[0].expected["limit"]))
    model = fit(mixed_plan, trials, seed=0)
    table = model.predict(Space(mixed_plan).sample(3, 0))
    assert table[("limit", "sd")].gt(0).all()
    sensitivity(mixed_plan, trials, metric="score", seed=0)
    optimum(mixed_plan, trials, variable="cure_time", seed=0)
    compare(mixed_plan, trials, a=settings, b={"process": "resin"}, seed=0)
    dead_ends(mixed_plan, trials, seed=0)
    outlook(mixed_plan, trials, seed=0)


def test_a_single_metric_without_poor_and_good_is_optimised_itself():
    problem = branin_problem()
    data = problem.plan.to_dict()
    data["metrics"]["y"] |= {"unit": "dB"}  # or its logarithm would be
    trials = problem.trials(20, 0.0, seed=2)
    pick = propose(Plan.from_dict(data), trials, seed=0)[0]
    value = problem.function(np.array([[pick.settings["x1"], pick.settings["x2"]]]))[0]
    assert pick.score.low <= value <= pick.score.high
    assert value < np.median(trials["y"])


def test_a_shortlist_is_chosen_from_and_given_as_it_is(mixed_plan):
    trials = mixed_trials(mixed_plan, 12)
    shortlist = pd.DataFrame(
        {
            "process": ["resin", "filament", "resin"],
            "cure_time": [13.7, np.nan, 21.0],
            "nozzle": [np.nan, 217.0, np.nan],
            "layer": [0.05, 0.1, 0.2],
            "wall": [0.77, 0.9, 1.0],
        }
    )
    picks = propose(mixed_plan, trials, count=4, seed=0, candidates=shortlist)
    rows = {(p.settings.get("cure_time"), p.settings.get("nozzle")) for p in picks[:3]}
    assert rows == {(13.7, None), (None, 217), (21.0, None)}
    assert len(picks) == 3


def test_a_shortlist_that_lacks_a_variable_is_refused(mixed_plan):
    with pytest.raises(TrialsError, match="wall"):
        propose(mixed_plan, mixed_trials(mixed_plan, 3), candidates=pd.DataFrame({"layer": [0.1]}))


def test_first_cones_fill_the_space(mixed_plan):
    picks = propose(mixed_plan, mixed_trials(mixed_plan, 0), count=4, seed=0)
    assert [pick.kind for pick in picks] == ["first"] * 4
    assert np.isnan(picks[0].score.mean)
    processes = [pick.settings["process"] for pick in picks]
    assert processes.count("resin") == 2


@pytest.mark.parametrize(
    ("measured", "failed", "spread"), [(4, 1, True), (4, 2, False), (2, 6, True)]
)
def test_failed_prints_count_among_the_first_cones(mixed_plan, measured, failed, spread):
    trials = mixed_trials(mixed_plan, measured + failed)
    trials.loc[measured:, "status"] = "failed"
    trials.loc[measured:, list(mixed_plan.metrics)] = np.nan
    assert (propose(mixed_plan, trials, seed=0)[0].kind == "first") is spread


def test_a_recipe_that_failed_and_then_printed_is_one_of_the_first_cones(mixed_plan):
    trials = mixed_trials(mixed_plan, 5)
    failed = trials.iloc[[0]].assign(status="failed", cone=6)
    assert first_cones(mixed_plan) == 6
    assert propose(mixed_plan, pd.concat([trials, failed]), seed=0)[0].kind == "first"


def test_pending_cones_are_not_asked_again(mixed_plan):
    trials = mixed_trials(mixed_plan, 20)
    first = propose(mixed_plan, trials, seed=0)[0]
    row = {**first.settings, "status": "planned", "cone": 21}
    with_pending = pd.concat([trials, pd.DataFrame([row])], ignore_index=True)
    second = propose(mixed_plan, with_pending, seed=0)[0]
    assert second.settings != first.settings


def test_failures_never_enter_the_metric_models(mixed_plan):
    trials = mixed_trials(mixed_plan, 12)
    bad = trials.iloc[:3].assign(status="failed", limit=-99.0, cone=[31, 32, 33], wall=0.9)
    recipes = Space(mixed_plan).sample(5, seed=1)
    plain = fit(mixed_plan, trials, seed=0).predict(recipes)
    with_bad = fit(mixed_plan, pd.concat([trials, bad], ignore_index=True), seed=0)
    pd.testing.assert_frame_equal(plain, with_bad.predict(recipes))
    assert with_bad.printability.failures_ == 3


def test_a_space_that_is_used_up_is_confirmed_with_its_leader():
    plan = Plan.from_dict(
        {
            "name": "tiny",
            "variables": {"a": {"kind": "choice", "levels": ["x", "y", "z"]}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    trials = pd.DataFrame(
        {"a": ["x", "y", "z"] * 2, "y": [1.0, 3, 2, 1.1, 3.1, 2.1], "status": "measured"}
    )
    picks = propose(plan, trials, count=4, seed=0)
    assert [pick.kind for pick in picks] == ["confirm"] * 3
    assert picks[0].settings == {"a": "y"}


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("status", "lost", "one of measured"),
        ("wall", "thick", "a number"),
        ("loss", "low", "a number"),
    ],
)
def test_a_table_that_does_not_fit_is_refused_with_its_place(mixed_plan, column, value, words):
    trials = mixed_trials(mixed_plan, 4).astype(object)
    trials.loc[2, column] = value
    with pytest.raises(TrialsError, match=f"row 2, column {column}.*{words}"):
        propose(mixed_plan, trials)


def test_count_below_one_is_refused(mixed_plan):
    with pytest.raises(ValueError, match="count"):
        propose(mixed_plan, mixed_trials(mixed_plan, 3), count=0)


def test_how_many_first_cones(mixed_plan):
    assert first_cones(mixed_plan) == 6
    assert first_cones(branin_problem().plan) == 4


def test_a_variable_that_joined_later_is_filled_from_before(mixed_plan):
    changed = mixed_plan.to_dict()
    changed["variables"]["tilt"] = {
        "kind": "continuous", "low": 0, "high": 30, "step": 5, "before": 10,
    }  # fmt: skip
    plan = Plan.from_dict(changed)
    model = fit(plan, mixed_trials(mixed_plan, 12), seed=0)
    assert model.evidence.measured["tilt"].eq(10.0).all()
    del changed["variables"]["tilt"]["before"]
    with pytest.raises(TrialsError, match=r"tilt.*before"):
        fit(Plan.from_dict(changed), mixed_trials(mixed_plan, 12), seed=0)


def test_a_level_that_left_the_plan_is_passed_over_and_said(mixed_plan):
    trials = mixed_trials(mixed_plan, 12)
    trials.loc[2, "process"] = "paper"
    model = fit(mixed_plan, trials, seed=0)
    assert len(model.evidence.measured) == 11
    assert "cone 3: process 'paper' is not in the plan; not used." in model.notes
