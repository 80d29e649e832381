"""What a table of trials can tell, and what makes it useless."""

from __future__ import annotations

import pandas as pd
import pytest

from experiments.errors import TrialsError
from experiments.plan import Plan
from experiments.space import Space
from optimiser.evidence import gather

PLAN = Plan.from_dict(
    {
        "name": "p",
        "variables": {
            "process": {"kind": "choice", "levels": ["resin", "filament"]},
            "cure": {
                "kind": "integer", "low": 0, "high": 9, "only_when": {"process": ["resin"]},
            },
        },
        "metrics": {"reach": {"from": "hand", "goal": "maximise"}},
    }
)  # fmt: skip


def table(**columns):
    return pd.DataFrame({"reach": [1.0, 2.0, 3.0], **columns})


def test_a_row_that_lacks_a_value_is_passed_over_with_a_note():
    trials = table(process=["resin", "resin", "filament"], cure=[3, None, None])
    evidence = gather(PLAN, trials)
    assert evidence.measured["reach"].tolist() == [1.0, 3.0]
    assert evidence.notes == ["row 1: no value for cure, so not used."]


@pytest.mark.parametrize("columns", [{}, {"cure": [None] * 3}, {"curing": [3, 4, None]}])
def test_a_variable_that_no_row_knows_is_refused(columns):
    with pytest.raises(TrialsError, match=r"column cure: found no value.*before = "):
        gather(PLAN, table(process=["resin", "resin", "filament"], **columns))


def test_a_variable_that_exists_nowhere_needs_no_value():
    evidence = gather(PLAN, table(process=["filament"] * 3))
    assert len(evidence.measured) == 3


def test_planned_cones_alone_may_lack_a_value():
    trials = pd.DataFrame({"process": ["resin"], "status": ["planned"]})
    assert gather(PLAN, trials).notes == ["row 0: no value for cure, so not used."]


def test_rows_come_in_order_of_their_cones():
    levels = ["filament", "resin", "filament"]
    trials = table(process=levels, cure=[None, 3, None], cone=[10, 9, 2])
    assert gather(PLAN, trials).measured["cone"].tolist() == ["2", "9", "10"]
    named = gather(PLAN, trials.assign(cone=["b", None, "a"])).measured["cone"].tolist()
    assert named == ["a", "b", "row 1"]


def test_known_recipes_come_in_an_order_that_neither_rows_nor_numbers_change():
    frame = Space(PLAN).enumerate(20)
    trials = frame.assign(reach=range(len(frame)), cone=range(len(frame)), status="measured")
    trials.loc[::3, "status"] = "planned"
    known = gather(PLAN, trials).known
    assert len(known) == len(frame)
    turned = trials.iloc[::-1]
    pd.testing.assert_frame_equal(gather(PLAN, turned).known, known)
    numbered = turned.assign(cone=range(len(frame)))
    pd.testing.assert_frame_equal(gather(PLAN, numbered).known, known)
