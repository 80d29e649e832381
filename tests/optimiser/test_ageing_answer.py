"""The answer on ageing as a whole: drifts found, what is said where little can be told."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.errors import TrialsError
from optimiser import ageing
from tests import kept_cones
from tests.examples import examples

PLAN = kept_cones.plan()
SHELF = kept_cones.draw(drift=-2.0)


@pytest.fixture(scope="module")
def found():
    return ageing(PLAN, SHELF.trials, at=400.0)


def test_the_drift_is_found_with_its_counts(found):
    level = found.metrics[0]
    assert level.verdict == "drifts down"
    assert level.whole.low < -2.0 < level.whole.high
    assert (level.whole.cones, level.measurements, found.cones) == (6, 24, 6)
    assert (found.first, found.longest, level.step) == (0.0, 500.0, 100.0)
    assert level.whole.mean < level.early.mean < 0
    assert "level: drifts down, -" in found.text
    assert "in 500\N{NO-BREAK SPACE}h of light (6 cones, 24 measurements)" in found.text
    assert "Measure cone " in found.text


def test_each_aged_cone_has_a_crossing_and_a_line(found):
    level = found.metrics[0]
    assert [each.cone for each in level.crossings] == ["1", "2", "3", "4", "5", "6"]
    assert level.lines.cones == ["1", "2", "3", "4", "5", "6"]
    assert np.all(level.lines.low <= level.lines.high)
    assert level.lines.bound == 78.5


def test_scores_fall_for_every_kept_cone(found):
    assert len(found.scores) == 7
    for each in found.scores[:6]:
        # Heard at 500 h already, so 400 h lies behind it.
        assert each.change.mean == pytest.approx(0)
    dark = found.scores[6]
    assert dark.last == 0
    assert dark.change.mean < 0


def test_the_same_seed_gives_the_same_answer_and_rows_may_come_in_any_order(found):
    shuffled = SHELF.trials.sample(frac=1, random_state=3)
    again = ageing(PLAN, shuffled, at=400.0)
    assert again.metrics == found.metrics
    assert again.text == found.text


def test_the_plans_age_is_the_time_asked_for_unless_another_is():
    plan = kept_cones.plan(ageing={"light_hours": 450.0})
    found = ageing(plan, SHELF.trials)
    assert (found.at, len(found.scores)) == (450.0, 7)
    assert ageing(plan, SHELF.trials, at=300.0).at == 300.0
    assert ageing(plan, SHELF.trials, "age_days").at is None


def test_a_constant_added_to_all_changes_no_drift(found):
    moved = ageing(
        kept_cones.plan(metrics={"level": {"from": "hand", "unit": "dB", "goal": "maximise"}}),
        SHELF.trials.assign(level=SHELF.trials["level"] + 500),
    )
    assert moved.metrics[0].whole.mean == pytest.approx(found.metrics[0].whole.mean, rel=1e-6)


def test_a_logarithmic_metric_drifts_in_percent():
    plan = kept_cones.plan(metrics={"level": {"from": "hand", "unit": "kHz", "goal": "maximise"}})
    table = SHELF.trials.assign(level=np.exp(SHELF.trials["level"] / 20))
    level = ageing(plan, table).metrics[0]
    assert level.relative
    assert level.whole.low < 100 * np.expm1(-2.0 / 20) < level.whole.high
    assert "% of its value" in level.text


def test_days_are_another_clock():
    days = ageing(PLAN, SHELF.trials, "age_days")
    assert days.unit == "days"
    assert days.metrics[0].step == 30.0
    # The cone in the dark gets older too.
    assert days.cones == 7


def test_beyond_what_was_seen_it_is_said_and_widens():
    goal = {"from": "hand", "unit": "dB", "goal": "maximise", "poor": 60, "good": 90}
    plan = kept_cones.plan(metrics={"level": goal})
    near, far = (ageing(plan, SHELF.trials, at=each) for each in (700.0, 1500.0))
    assert any("700 h lies beyond the longest time seen, 500 h" in note for note in near.notes)
    assert any("every law has the same weight" in note for note in far.notes)
    widths = [each.scores[0].then.high - each.scores[0].then.low for each in (near, far)]
    assert widths[1] > widths[0]


def table(rows: list[tuple[int, float, float]], **columns: object) -> pd.DataFrame:
    """Give measurements as (cone, hours, level), each in a session of its own."""
    cone, hours, level = (list(each) for each in zip(*rows, strict=True)) if rows else ([], [], [])
    frame = {"cone": cone, "light_hours": hours, "level": level, "status": "measured"}
    sessions = [f"day {place}" for place in range(len(rows))]
    return pd.DataFrame(
        {**frame, "session": sessions, "wall": 3.0, "process": "resin", **columns},
        index=range(len(rows)),
    )


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ([], "nothing was measured"),
        ([(1, 0, 80)], "no cone was heard twice"),
        ([(1, 0, 80), (2, 90, 79)], "no cone was heard twice"),
        ([(1, 5, 80), (1, 5, 79)], "no cone was heard at two ages"),
        ([(1, 0, 80), (1, 90, 79)], "one cone was heard twice, which tells no error"),
        ([(1, 0, 80), (1, 90, 80), (2, 0, 70), (2, 90, 70)], "reads the same each time"),
    ],
)
def test_what_is_missing_is_said(rows, why):
    found = ageing(PLAN, table(rows), at=100.0)
    assert found.text.startswith("Cannot tell yet how cones age: ")
    assert why in found.text
    assert not found.metrics[0].whole.known
    assert math.isnan(found.longest)
    assert found.visits == []


def test_one_cone_tells_its_own_drift_alone():
    rows = [(1, 0, 80.0), (1, 100, 79.1), (1, 200, 78.0), (1, 300, 77.05)]
    level = ageing(PLAN, table(rows)).metrics[0]
    assert level.whole.low < -3.0 < level.whole.high
    assert level.whole.cones == 1
    assert "one cone alone" in level.text


def test_two_sessions_young_and_old_cannot_be_told_from_a_moved_rig():
    rows = [(cone, hours, 80 - hours / 100) for cone in (1, 2, 3) for hours in (0.0, 300.0)]
    sessions = ["young", "old"] * 3
    found = ageing(PLAN, table(rows, session=sessions))
    assert not found.metrics[0].whole.known
    assert "a moved rig looks like ageing" in found.text
    # A cone kept in the dark and heard in both tells them apart.
    dark = table([*rows, (4, 0.0, 80.0), (4, 0.0, 80.01)], session=[*sessions, "young", "old"])
    assert ageing(PLAN, dark).metrics[0].whole.high < 0


def test_a_metric_that_never_changes_is_taken_as_it_is_in_the_score():
    goal = {"from": "hand", "goal": "maximise", "poor": 70, "good": 90}
    plan = kept_cones.plan(
        metrics={
            "level": {**goal, "unit": "dB"},
            "mass": {"from": "hand", "unit": "g", "goal": "minimise", "poor": 4, "good": 1},
        }
    )
    masses = SHELF.trials["cone"].map(lambda cone: 2.0 + 0.1 * cone)
    found = ageing(plan, SHELF.trials.assign(mass=masses), at=450.0)
    assert len(found.scores) == 7
    assert any("mass: reads the same each time" in note for note in found.notes)
    # Without any mass there is no score, and that is said.
    lacking = ageing(plan, SHELF.trials.assign(mass=np.nan), at=450.0)
    assert lacking.scores == []
    assert any("the ageing of mass cannot be told yet" in note for note in lacking.notes)


def test_a_measurement_without_its_age_is_counted():
    trials = SHELF.trials.copy()
    trials.loc[3, "age_days"] = np.nan
    notes = ageing(PLAN, trials, "age_days").notes
    assert any("1 measurement without age left out" in note for note in notes)


WARM = kept_cones.draw(drift=0.0, warm=0.3, rising=4.0, dark=0)


def test_a_warm_session_does_not_look_like_ageing():
    blind = ageing(PLAN, WARM.trials.drop(columns="temperature_c")).metrics[0]
    assert blind.verdict == "drifts up"
    level = ageing(PLAN, WARM.trials).metrics[0]
    assert level.verdict == "no drift told"
    (effect,) = level.beside
    assert (effect.name, effect.step, effect.unit) == ("temperature_c", 10.0, "°C")
    assert effect.effect.low < 3.0 < effect.effect.high
    assert "temperature taken into account" in level.text


def test_what_a_climate_does_is_a_line_with_light_taken_out():
    shelf = kept_cones.draw(warm=0.3, drift=-2.0)
    found = ageing(PLAN, shelf.trials, "temperature_c")
    level = found.metrics[0]
    assert (found.unit, level.verdict, level.law) == ("°C", "rises", None)
    assert level.crossings == found.visits == found.scores == []
    assert level.step == pytest.approx(min(10.0, found.longest - found.first))
    truth = 0.3 * (found.longest - found.first)
    assert level.whole.low < truth < level.whole.high
    # A line: what is told of a part is that part of the whole.
    share = level.step / (found.longest - found.first)
    assert level.early.mean == pytest.approx(share * level.whole.mean)
    assert "; light taken into account)" in level.text
    assert level.beside == []  # how cones age is another question
    assert level.lines.grid[-1] == found.longest


@pytest.mark.parametrize(
    ("degrees", "why"),
    [
        ([None] * 6, "temperature was not recorded; give --temperature"),
        ([20.0, 20.4, 20.9] * 2, "no cone was heard at two values of temperature"),
        ([20.0, 25.0, 25.5] * 2, "two values of temperature alone fit any line; a third"),
    ],
)
def test_too_few_temperatures_cannot_tell_yet(degrees, why):
    rows = [(cone, 0, 80 + cone + each / 10) for cone in (1, 2) for each in range(3)]
    found = ageing(PLAN, table(rows, temperature_c=degrees), "temperature_c")
    assert found.text.startswith("Cannot tell yet how cones follow temperature: ")
    assert why in found.text


def test_wrong_questions_are_refused():
    with pytest.raises(TrialsError, match="it ages no cone"):
        ageing(PLAN, SHELF.trials, "temperature_c", at=30.0)
    with pytest.raises(TrialsError, match=r"moonlight.*light_hours, age_days"):
        ageing(PLAN, SHELF.trials, "moonlight")
    with pytest.raises(TrialsError, match="a time of 0 h or more"):
        ageing(PLAN, SHELF.trials, at=-1.0)


@settings(max_examples=examples(12), deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(1, 3),
            st.sampled_from([0.0, 0.5, 100.0, 1e6]),
            st.sampled_from([80.0, 80.1, 79.0, 1e9, -3.0]),
            st.sampled_from(["a", "b", None]),
        ),
        max_size=9,
    )
)
def test_any_table_gets_an_answer_with_ordered_intervals(rows):
    found = ageing(PLAN, table([row[:3] for row in rows], session=[row[3] for row in rows]))
    level = found.metrics[0]
    for each in (level.early, level.whole):
        assert not each.known or each.low <= each.mean <= each.high
    assert found.text
