"""A finished experiment as prior evidence: what it changes in models and proposals."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.errors import TrialsError
from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit, outlook, propose, sensitivity
from optimiser.earlier import gather_earlier
from tests.functions import branin_problem
from tests.optimiser.test_proposals import mixed_trials

PROBLEM = branin_problem()


def past(count: int = 30, *, factor: float = 1.0) -> pd.DataFrame:
    """Branin on a rig that adds 20."""
    trials = PROBLEM.trials(count, 0.02, seed=5)
    return trials.assign(y=factor * trials["y"] + 20)


def test_without_an_earlier_cone_nothing_changes_to_the_last_digit():
    trials = PROBLEM.trials(8, 0.02, seed=1)
    query = Space(PROBLEM.plan).sample(20, seed=3)
    plain = fit(PROBLEM.plan, trials, seed=0)
    planned = past(4).assign(status="planned", y=np.nan)
    for nothing in (past(0), planned):
        other = fit(PROBLEM.plan, trials, seed=0, earlier=nothing)
        pd.testing.assert_frame_equal(other.predict(query), plain.predict(query), check_exact=True)
        assert other.earlier is None
        assert "no cone to learn from" in other.notes[-1]


def test_the_first_cone_stands_on_the_earlier_experiment_and_says_so():
    (pick,) = propose(PROBLEM.plan, past(0), seed=0, earlier=past())
    assert pick.kind == "earlier"
    assert "stands on 30 cones of the earlier experiment alone" in pick.why
    truth = PROBLEM.function(np.array([[pick.settings["x1"], pick.settings["x2"]]]))[0]
    assert truth < 20  # the median is 36
    assert pick.score.cones == 0


def test_the_rest_of_a_first_plate_is_spread():
    picks = propose(PROBLEM.plan, past(0), count=4, seed=0, earlier=past())
    assert [pick.kind for pick in picks] == ["earlier", "first", "first", "first"]
    assert "cannot tell yet how far to believe the earlier experiment" in picks[1].why
    again = propose(PROBLEM.plan, past(0), count=4, seed=0, earlier=past())
    assert [pick.why for pick in again] == [pick.why for pick in picks]


def test_three_own_cones_are_enough_to_go_on_from():
    trials = PROBLEM.trials(3, 0.02, seed=1)
    cold = propose(PROBLEM.plan, trials, seed=0)[0]
    warm = propose(PROBLEM.plan, trials, seed=0, earlier=past())[0]
    assert cold.kind == "first"
    assert warm.kind in ("improve", "explore")
    assert warm.score.cones == 3
    model = fit(PROBLEM.plan, trials, seed=0, earlier=past())
    assert model.cones == 3
    assert model.calibration()[0].cones == 3
    assert set(model.calibration()[0].table["cone"]) == {"1", "2", "3"}


def test_an_opposite_experiment_is_not_believed_and_the_first_cones_are_spread_as_ever():
    trials = PROBLEM.trials(3, 0.02, seed=1)
    opposite = past(factor=-1.0)
    model = fit(PROBLEM.plan, trials, seed=0, earlier=opposite)
    assert not model.informed
    assert "y: not at all, so it does not count" in model.notes[-1]
    plain = propose(PROBLEM.plan, trials, seed=0)[0]
    assert propose(PROBLEM.plan, trials, seed=0, model=model)[0].settings == plain.settings
    query = Space(PROBLEM.plan).sample(20, seed=3)
    pd.testing.assert_frame_equal(
        model.predict(query), fit(PROBLEM.plan, trials, seed=0).predict(query)
    )


def test_agreement_is_told_with_its_interval():
    model = fit(PROBLEM.plan, PROBLEM.trials(20, 0.02, seed=1), seed=0, earlier=past())
    assert "Learns from 30 cones of the earlier experiment" in model.notes[-1]
    assert "y: 1.00" in model.notes[-1]
    assert "(90 %: " in model.notes[-1]
    few = fit(PROBLEM.plan, PROBLEM.trials(1, 0.02, seed=1), seed=0, earlier=past())
    assert "y: cannot tell yet" in few.notes[-1]


def test_other_answers_work_on_a_model_that_learns_from_both(mixed_plan):
    trials = mixed_trials(mixed_plan, 6)
    model = fit(mixed_plan, trials, seed=0, earlier=mixed_trials(mixed_plan, 20, seed=4))
    assert model.informed
    knobs = sensitivity(mixed_plan, trials, metric="limit", seed=0, model=model)
    assert {knob.variable for knob in knobs.knobs} == set(mixed_plan.variables)
    assert outlook(mixed_plan, trials, seed=0, model=model).cones == 6


def test_earlier_failures_warn_of_ours(mixed_plan):
    theirs = mixed_trials(mixed_plan, 30, seed=4)
    thin = theirs["wall"] < 0.7
    theirs.loc[thin, "status"] = "failed"
    theirs.loc[thin, ["limit", "loss", "tone"]] = np.nan
    trials = mixed_trials(mixed_plan, 4)
    model = fit(mixed_plan, trials, seed=0, earlier=theirs)
    query = Space(mixed_plan).sample(200, seed=9)
    chance = model.printability(model.encoding(query))
    thin = (query["wall"] < 0.7).to_numpy()
    assert chance[thin].mean() < chance[~thin].mean() - 0.2


def test_a_table_that_lacks_a_variable_is_refused_as_the_earlier_one():
    with pytest.raises(TrialsError, match="earlier trials, column x2"):
        fit(PROBLEM.plan, PROBLEM.trials(4), earlier=past().drop(columns="x2"))


def test_notes_on_earlier_rows_say_so(mixed_plan: Plan):
    theirs = mixed_trials(mixed_plan, 5)
    theirs.loc[2, "process"] = "paper"
    notes: list[str] = []
    found = gather_earlier(mixed_plan, theirs, notes)
    assert found is not None
    assert found.cones == 4
    assert notes == ["Earlier experiment: cone 3: process 'paper' is not in the plan; not used."]
