"""Age and session going together."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from optimiser.ageing_confounding import confounding, never_aged
from optimiser.ageing_laws import Span
from optimiser.ageing_rows import CLOCKS, Kept
from tests.bench_page import PLAN


def told(part: Kept, name: str = "light_hours"):
    return confounding(part, CLOCKS[name])


def test_a_climate_is_spoken_of_as_one():
    said = told(kept(YOUNG_AND_OLD), "humidity_percent").text
    assert said.startswith("every session holds one humidity only")
    assert "measure at more than one humidity in one session" in said


def kept(rows: list[tuple[int, int, float]]) -> Kept:
    """Give readings of (cone, session, hours)."""
    cone, session, times = (np.array(each) for each in zip(*rows, strict=True))
    return Kept(
        np.arange(len(rows), dtype=float), times, cone, session,
        [str(each) for each in np.unique(cone)], [str(each) for each in np.unique(session)],
        False, Span(0.0, float(times.max())), np.ones(len(np.unique(cone)), dtype=bool),
    )  # fmt: skip


YOUNG_AND_OLD = [(cone, session, 300.0 * session) for cone in range(3) for session in range(2)]


def test_all_old_in_one_session_blocks():
    found = told(kept(YOUNG_AND_OLD))
    assert found.left == 0
    assert found.blocked
    assert "a moved rig looks like ageing" in found.text


def test_many_sessions_in_step_with_age_are_told_against_their_scatter():
    found = told(kept([(cone, s, 100.0 * s) for cone in range(3) for s in range(5)]))
    assert not found.blocked
    assert "only against how sessions scatter" in found.text


def test_a_dark_cone_in_both_sessions_sets_them_apart():
    found = told(kept([*YOUNG_AND_OLD, (3, 0, 0.0), (3, 1, 0.0)]))
    assert not found.blocked
    # Three cones of 300 h and one of 0: a quarter of the ages' squares stays.
    assert found.left == pytest.approx(0.25)
    assert found.text == ""


def test_a_cone_whose_ages_barely_differ_in_kind_is_nearly_confounded():
    found = told(kept([*YOUNG_AND_OLD, (3, 0, 0.0), (3, 1, 280.0)]))
    assert 0 < found.left < 0.1
    assert "nearly go together" in found.text
    assert not found.blocked


def test_a_session_of_its_own_for_each_reading_is_noise():
    found = told(kept([(0, 0, 0.0), (0, 1, 100.0), (0, 2, 200.0)]))
    assert not found.blocked
    assert found.text == ""


def test_levels_without_aged_cones_are_named():
    plan = bench_plan()
    recipes = pd.DataFrame(
        {"process": ["resin", "resin", "filament"], "wall": [0.5, 0.6, 0.7]},
        index=["1", "2", "3"],
    )
    recipes["cure_time"] = [10.0, 10.0, np.nan]
    cones = pd.Series(["1", "1", "2", "3"])
    said = never_aged(plan, recipes, cones, pd.Series([0.0, 200.0, 0.0, 0.0]))
    assert len(said) == 1
    assert "process filament" in said[0]
    assert never_aged(plan, recipes, cones, pd.Series([0.0] * 4)) == []
    both = pd.Series(["1", "1", "3", "3"])
    assert never_aged(plan, recipes, both, pd.Series([0.0, 200.0, 0.0, 99.0])) == []


def bench_plan() -> Plan:
    return Plan.from_text(PLAN)
