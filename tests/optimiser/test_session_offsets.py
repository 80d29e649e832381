"""Whether sessions differ: the F test, against statsmodels, and what is told from 0."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from statsmodels.formula.api import ols
from statsmodels.robust import mad

from optimiser.repeats import hear
from optimiser.session_offsets import session_offsets, sessions_differ
from tests import workshops

PLAN = workshops.plan()


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("design", ["kept reference", "thorough"])
def test_the_f_test_agrees_with_statsmodels(design, seed):
    """OLSResults.compare_f_test of nested models, cones and sessions as fixed effects."""
    rows = workshops.DESIGNS[design]()
    table = workshops.draw(rows, 0.3, 0.3, 0.3, seed).trials
    full = ols("level ~ C(cone) + C(session)", table).fit()
    wanted = full.compare_f_test(ols("level ~ C(cone)", table).fit())[1]
    item, session = (pd.factorize(table[name])[0] for name in ("cone", "session"))
    assert sessions_differ(table["level"], item, session) == pytest.approx(wanted, rel=1e-6)


def test_nothing_left_over_tells_nothing():
    """One mounting a session: mounting and session cannot be told apart."""
    zeros, places = np.zeros(5, dtype=np.intp), np.arange(5, dtype=np.intp)
    assert math.isnan(sessions_differ([1.0, 2.0, 3.0, 4.0, 5.0], zeros, places))
    twice = np.repeat(places, 2)
    exact = np.repeat([1.0, 2.0, 3.0, 4.0, 5.0], 2)
    assert math.isnan(sessions_differ(exact, np.zeros(10, dtype=np.intp), twice))


def test_what_is_told_leaves_zero_out_and_belongs_to_a_metric_that_moves():
    found = session_offsets(
        hear(PLAN, workshops.draw(workshops.thorough(), 1.0, 0.3, 0.1).trials), []
    )
    assert any(each.told for each in found)
    for each in found:
        assert each.told == (each.offset.low > 0 or each.offset.high < 0)
    still = session_offsets(
        hear(PLAN, workshops.draw(workshops.thorough(), 0.0, 0.3, 0.1).trials), []
    )
    assert not any(each.told for each in still)


def with_a_wild_session(seed=0) -> pd.DataFrame:
    table = workshops.draw(workshops.thorough(), 0.0, 0.3, 0.1, seed).trials
    return table.assign(level=table["level"] + 4.0 * (table["session"] == "day 2"))


def test_a_wild_session_is_left_out_of_the_average_and_the_others_are_not_blamed():
    """Against least squares with fixed effects (statsmodels), which nothing draws towards 0."""
    table = with_a_wild_session()
    found = [each for each in session_offsets(hear(PLAN, table), []) if each.metric == "level"]
    assert [each.session for each in found if not each.usual] == ["day 2"]
    assert [each.session for each in found if each.told] == ["day 2"]
    effects = ols("level ~ C(cone) + C(session) - 1", table).fit().params.filter(like="C(session)")
    every = {"day 1": 0.0} | {name[-6:-1]: value for name, value in effects.items()}
    wanted = np.array([every[each.session] for each in found])
    usual = np.array([each.usual for each in found])
    wanted -= wanted[usual].mean()
    np.testing.assert_allclose([each.offset.mean for each in found], wanted, atol=0.04)
    # The rule by which it is none of the usual ones, with their robust spread from statsmodels.
    away = np.abs(wanted - np.median(wanted)) / mad(wanted)
    assert (away > 3.5).tolist() == (~usual).tolist()


def test_sessions_that_all_wander_are_all_usual():
    table = workshops.draw(workshops.thorough(), 1.0, 0.3, 0.1).trials
    assert all(each.usual for each in session_offsets(hear(PLAN, table), []))
