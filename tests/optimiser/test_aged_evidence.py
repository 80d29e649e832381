"""Measurements moved to the plan's age: by what kept cones tell, or left as they are and said."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from optimiser import ageing, fit, propose
from optimiser.aged_evidence import aged_evidence
from tests import answers, kept_cones

SHELF = kept_cones.draw(drift=-3.0, cones=6)
TRIALS = SHELF.trials


def plan(age=None, **changes):
    return kept_cones.plan(ageing=age or {"light_hours": 500.0}, **changes)


@pytest.fixture(scope="module")
def moved():
    return aged_evidence(plan(), TRIALS, 0)


def times_of(evidence):
    """Hours of the evidence's rows: its values are found again among the measured ones."""
    unmoved, _, _ = aged_evidence(plan({"light_hours": 500.0}), TRIALS.assign(light_hours=0.0), 0)
    assert list(unmoved.measured["cone"]) == list(evidence.measured["cone"])
    hours = dict(zip(TRIALS["level"], TRIALS["light_hours"], strict=True))
    return unmoved.measured["level"], unmoved.measured["level"].map(hours)


def test_young_rows_move_by_the_mean_drift_and_old_ones_stay(moved):
    evidence, aged, _ = moved
    measured, hours = times_of(evidence)
    change = evidence.measured["level"] - measured
    told = ageing(kept_cones.plan(), TRIALS).metrics[0].whole
    assert change[hours == 0].nunique() == change[hours == 0].round(9).nunique() == 1
    assert change[hours == 0].iloc[0] == pytest.approx(told.mean, abs=0.15)
    np.testing.assert_allclose(change[hours == 500.0], 0.0, atol=1e-12)
    between = change[(hours > 0) & (hours < 500)]
    assert ((told.low < between) & (between < 0)).all()
    assert list(aged) == ["level"]


def test_the_moves_covariance_is_shared_by_the_young_and_a_kept_cones_own(moved):
    evidence, aged, _ = moved
    _, hours = times_of(evidence)
    covariance = aged["level"].covariance
    young = np.flatnonzero((hours == 0).to_numpy())
    assert np.ptp(covariance[np.ix_(young, young)]) == pytest.approx(0, abs=1e-9)
    assert covariance[young[0], young[0]] > 0
    assert np.linalg.eigvalsh(covariance).min() > -1e-9
    # At the age itself nothing is moved, but a cone's own drift is not its recipe's.
    old = np.flatnonzero((hours == 500).to_numpy())
    assert covariance[old[0], old[0]] == pytest.approx(aged["level"].own, rel=1e-6)
    assert covariance[old[0], old[1]] == pytest.approx(0, abs=1e-9)


def test_sessions_and_rows_are_those_of_the_table(moved):
    evidence, _, notes = moved
    assert len(evidence.measured) == len(TRIALS)
    assert set(evidence.measured["session"]) == set(TRIALS["session"])
    (note,) = notes
    told = "Judged as expected after 500\N{NO-BREAK SPACE}h of light by 6 kept cones: "
    assert note.startswith(told)
    assert "level by -" in note


def test_a_metric_in_percent_is_moved_in_proportion():
    metric = {"from": "hand", "unit": "kHz", "goal": "maximise", "poor": 1, "good": 90}
    table = TRIALS.assign(level=np.exp(TRIALS["level"] / 20))
    _, aged, (note,) = aged_evidence(plan(metrics={"level": metric}), table, 0)
    assert aged["level"].logarithmic
    young, older = aged["level"].moved(np.array([10.0, 20.0]), np.zeros(2))
    assert older == pytest.approx(2 * young)
    assert young == pytest.approx(10 * np.exp(-3.0 / 20), rel=0.05)
    assert "% of its value" in note


@pytest.mark.parametrize(
    ("table", "why"),
    [
        (TRIALS[TRIALS["light_hours"] == 0], "no cone was heard at two ages"),
        (TRIALS[TRIALS["cone"] == 1], "one cone alone was heard at several ages"),
        (TRIALS.drop(columns="light_hours"), "no cone was heard at two ages"),
    ],
)
def test_what_cannot_be_told_is_judged_as_measured_and_said(table, why):
    evidence, aged, (note,) = aged_evidence(plan(), table, 0)
    assert aged == {}
    assert sorted(evidence.measured["level"]) == sorted(table["level"])
    assert note.startswith("The ageing of level cannot be told yet, so judged as measured")
    assert why in note


def test_no_cone_at_all_needs_no_word():
    _, aged, notes = aged_evidence(plan(), TRIALS.iloc[:0], 0)
    assert aged == {}
    assert notes == []


def test_days_count_and_a_row_without_them_is_young():
    trials = TRIALS.assign(age_days=TRIALS["light_hours"] + 1.0)
    trials.loc[0, "age_days"] = np.nan
    _, aged, notes = aged_evidence(plan({"age_days": 300.0}), trials, 0)
    assert "300\N{NO-BREAK SPACE}days of age" in notes[0]
    assert notes[1].startswith("1 measurement without age taken as young")
    there = aged["level"].moved(np.zeros(2), np.array([np.nan, 1.0]))
    assert there[0] == there[1]


def test_the_model_foretells_the_age_that_the_plan_names():
    young, old = (fit(each, TRIALS, seed=0) for each in (kept_cones.plan(), plan()))
    recipes = old.evidence.recipes(old.evidence.measured).drop_duplicates().iloc[:3]
    fresh = fit(kept_cones.plan(), TRIALS[TRIALS["light_hours"] == 0], seed=0)
    change = old.predict(recipes)["level"] - fresh.predict(recipes)["level"]
    np.testing.assert_allclose(change["mean"], -3.0, atol=0.6)
    # It knows them less well than the young ones.
    width = (old.predict(recipes)["level"] - fresh.predict(recipes)["level"])["sd"]
    assert (width > 0).all()
    assert old.notes[0].startswith("Judged as expected after 500")
    assert not any("Judged" in note for note in young.notes)
    assert old.predict_score(recipes)[0].mean < fresh.predict_score(recipes)[0].mean


def test_scores_and_picks_stand_on_what_was_moved():
    model = fit(plan(), TRIALS, seed=0)
    judged = model.as_judged(TRIALS)
    young = TRIALS["light_hours"] == 0
    assert (judged["level"][young] < TRIALS["level"][young]).all()
    assert np.nanmax(model.scores(judged[young])) < np.nanmax(model.scores(TRIALS[young]))
    assert model.leader().score.mean < np.nanmax(model.scores(TRIALS[young]))
    (pick,) = propose(plan(), TRIALS, seed=0, model=model)
    assert pick.expected["level"].mean < 79.5
    unaged = fit(kept_cones.plan(), TRIALS, seed=0)
    assert unaged.as_judged(TRIALS) is TRIALS


def test_marks_in_the_report_are_at_the_age_and_its_table_as_measured():
    plain = answers.material()
    np.testing.assert_array_equal(plain.marks["score"], plain.scores)
    judged = plain.trials.assign(score=0.5)
    assert answers.material(judged=judged).marks is judged


def test_an_earlier_experiment_is_left_out_and_said():
    model = fit(plan(), TRIALS, seed=0, earlier=TRIALS)
    assert model.earlier is None
    assert any("The earlier experiment is left out" in note for note in model.notes)


def test_the_order_of_rows_changes_nothing():
    shuffled = TRIALS.sample(frac=1, random_state=1)
    recipes = pd.DataFrame({"wall": [10.0], "process": ["resin"]})
    found = [fit(plan(), each, seed=0).predict(recipes) for each in (TRIALS, shuffled)]
    np.testing.assert_allclose(found[0], found[1], rtol=1e-6)
