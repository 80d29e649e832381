"""Which measurements can tell ageing."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from optimiser.ageing_rows import CLOCKS, keep
from optimiser.repeats import hear
from tests import kept_cones

LIGHT = CLOCKS["light_hours"]


def kept(table: pd.DataFrame, clock=LIGHT, **changes):
    return keep(hear(kept_cones.plan(**changes), table), "level", clock)


def test_cones_heard_once_are_left_out():
    table = kept_cones.draw(cones=3, dark=0).trials
    alone = table.iloc[:1].assign(cone=99)
    found = kept(pd.concat([table, alone], ignore_index=True))
    assert found.cones == ["1", "2", "3"]
    assert len(found) == 12
    assert found.aged.all()
    assert (found.span.first, found.span.longest) == (0.0, 500.0)


def test_a_cone_in_the_dark_is_kept_but_has_not_aged():
    found = kept(kept_cones.draw(cones=2, dark=1).trials)
    assert found.aged.tolist() == [True, True, False]
    assert found.latest().tolist() == [500.0, 500.0, 0.0]
    assert found.shared


def test_a_measurement_without_an_age_is_left_out():
    table = kept_cones.draw(cones=2, dark=0).trials
    table.loc[0, "age_days"] = np.nan
    assert len(kept(table, CLOCKS["age_days"])) == 7
    assert len(kept(table)) == 8


def test_a_measurement_without_a_session_has_its_own():
    table = kept_cones.draw(cones=2, dark=0).trials
    table["session"] = None
    found = kept(table)
    assert len(found.sessions) == len(found) == 8
    assert not found.shared


def test_leaving_out_takes_lone_measurements_along():
    found = kept(kept_cones.draw(cones=2, visits=2, dark=0).trials)
    assert len(found.without(np.arange(4) == 0)) == 2


def test_positive_units_are_taken_on_their_logarithm():
    metric = {"level": {"from": "hand", "unit": "kHz", "goal": "maximise"}}
    table = kept_cones.draw(cones=2, dark=0).trials
    found = kept(table, metrics=metric)
    assert found.logarithmic
    assert np.sort(np.exp(found.values)) == pytest.approx(np.sort(table["level"]))


def test_nothing_measured():
    found = kept(kept_cones.draw(cones=2).trials.iloc[:0])
    assert len(found) == 0
    assert not found.changes
