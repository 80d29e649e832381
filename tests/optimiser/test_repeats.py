"""Which measurements can be compared with which."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.errors import TrialsError
from optimiser.repeats import hear, tie
from tests import workshops

PLAN = workshops.plan()


def trials(rows=None, **columns):
    rows = rows or workshops.kept_reference()
    frame = workshops.table(rows, 80 + np.arange(len(rows)) / 10)
    return frame.assign(**columns)


def test_lone_recipes_are_dropped_and_the_rest_keeps_its_labels():
    rows = [(0, 1, 0), (0, 1, 1), (1, 2, 0), (2, 3, 1), (2, 4, 1)]
    tied = tie(hear(PLAN, trials(rows)), "level")
    assert len(tied) == 4
    assert tied.group.tolist() == [0, 0, 1, 1]
    assert tied.item.tolist() == [0, 0, 1, 2]
    assert [tied.sessions[place] for place in tied.session] == ["day 1", "day 2", "day 2", "day 2"]
    assert tied.values.tolist() == pytest.approx([80.0, 80.1, 80.3, 80.4])


def test_the_scale_is_the_learnt_one():
    tied = tie(hear(PLAN, trials()), "decay")
    assert tied.logarithmic
    assert tied.values[0] == pytest.approx(np.log(2.0))


def test_light_between_two_hearings_makes_another_cone():
    rows = [(0, 1, 0), (0, 1, 1), (0, 1, 2), (0, 2, 0), (0, 2, 2)]
    light = [0.0, 0.4, 300.0, np.nan, 300.5]
    heard = hear(PLAN, trials(rows, light_hours=light))
    table = heard.table
    assert table["item"].tolist() == [0, 0, 1, 2, 3]
    # Two cones that got the same light stay prints of one recipe.
    assert table["group"].nunique() == 2
    assert table["group"].iloc[2] == table["group"].iloc[4]


def test_sessions_come_in_the_order_of_measuring():
    frame = trials([(0, 1, 1), (0, 1, 0), (0, 2, 2), (0, 2, 1)])
    assert hear(PLAN, frame).sessions == ["day 2", "day 1", "day 3"]
    frame["measurement"] = [4, 1, 2, 3]
    assert hear(PLAN, frame).sessions == ["day 1", "day 3", "day 2"]
    assert hear(PLAN, frame.drop(columns="measurement")).sessions == ["day 2", "day 1", "day 3"]


def test_a_measurement_without_a_session_is_a_session_of_its_own():
    rows = [(0, 1, 0), (0, 1, 0), (0, 1, 1), (0, 1, 1)]
    frame = trials(rows)
    frame["session"] = pd.Series(["may", None, "may", None], dtype=object)
    heard = hear(PLAN, frame)
    assert heard.sessions == ["may"]
    tied = tie(heard, "level")
    assert tied.session.tolist() == [0, 1, 0, 2]
    assert tied.sessions == ["may", None, None]


def test_a_table_without_sessions_is_one_session():
    tied = tie(hear(PLAN, trials().drop(columns=["session", "measurement"])), "level")
    assert set(tied.sessions) == {"all"}


def test_values_copied_to_every_measurement_count_once():
    frame = trials()
    frame["level"] = 70.0 + frame["cone"]
    tied = tie(hear(PLAN, frame), "level")
    assert tied.entered_once == 7
    assert len(tied) == 4
    frame.loc[0, "level"] += 0.1
    assert tie(hear(PLAN, frame), "level").entered_once == 0


def test_rows_that_are_not_measured_do_not_count():
    frame = trials()
    frame.loc[frame["cone"] == 3, "status"] = "set aside"
    frame.loc[0, "level"] = np.nan
    assert len(tie(hear(PLAN, frame), "level")) == len(frame) - 3


def test_an_empty_table_and_a_wrong_one():
    heard = hear(PLAN, trials().iloc[:0])
    assert heard.sessions == []
    assert len(tie(heard, "level")) == 0
    with pytest.raises(TrialsError, match="loud"):
        hear(PLAN, trials(level="loud"))
