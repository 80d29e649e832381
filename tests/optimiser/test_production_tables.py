"""The recommendation as tables and sentences."""

from __future__ import annotations

import dataclasses

import pytest

from optimiser import wording
from optimiser.answers import Estimate
from optimiser.production_tables import recommendation_tables
from optimiser.records.production import LimitProof, Nearby
from tests import answers
from tests.optimiser.figures.test_production import NAN, recommendation

PLAN = answers.plan(
    variables={
        **answers.PLAN["variables"],
        "wall": {**answers.PLAN["variables"]["wall"], "tolerance": 0.05},
    }
)


def said(answer, plan=PLAN):
    """Every row of every table, cells put together."""
    tables = recommendation_tables(answer, plan, wording.describe(plan))
    rows = [" | ".join(row) for table in tables for row in table.rows]
    return [row.replace("\N{NO-BREAK SPACE}", " ") for row in rows]


def full(**changes):
    proof = LimitProof("decay", "<= 5", True, 3.407, 2.2, 0.9)
    given = recommendation()
    return dataclasses.replace(
        given,
        recipe=dataclasses.replace(given.recipe, limits={"decay": 0.97}, prints=0.9),
        within={0.01: 0.2, 0.02: 0.4, 0.05: 0.8},
        expected={"decay": Estimate(2.0, 1.5, 2.5, 24)},
        nearest=[Nearby("7", {"cure_time": (10.0, 12.0)}), Nearby("8", {})],
        outside=0.1,
        over_rules=0.0,
        confirmation=dataclasses.replace(given.confirmation, limits=[proof], **changes),
    )


@pytest.mark.parametrize(
    "row",
    [
        "wall | 0.6 mm, sd 0.05 mm",
        "cure time | 12 min",
        "decay of a new cone | 2.0 ms (1.5 to 2.5)",
        "comes off the printer | 90 %",
        "prints beyond low or high | 10 %",
        "prints across a rule | under 1 %",
        "within 5 % of the best recipe fit for production | 80 %",
        "near: cone 7 | cure time 10 for 12",
        "near: cone 8 | the same recipe",
        "cones to print and measure | 5",
        "their mean score | at least 0.580",
        "passes if the model is right | 86 %",
        "fails with 95 % at a true score of | 0.550",
        "fails if it is as the runner-up, 0.550 | 95 %",
        "fails if nine of ten prints keep a limit | 95 %",
    ],
)
def test_a_row_says(row):
    assert row in said(full())


def test_a_limit_is_told_with_its_factor_and_where_the_mean_must_lie():
    (row,) = [row for row in said(full()) if row.startswith("decay <= 5")]
    assert "the mean of the logarithms keeps it by 3.41 of the cones' own sd" in row
    assert "about 2.2 ms" in row


def test_recipes_are_named_by_where_they_differ_and_by_their_cones():
    rows = said(full())
    (first,) = [row for row in rows if row.startswith("recommended")]
    assert first.startswith("recommended | as above | 0.6")
    assert any(row.startswith("best measured, cones 12, 14 |") for row in rows)


def test_the_share_of_prints_that_are_of_use_stands_where_it_tells_recipes_apart():
    def heads(answer):
        return next(
            t
            for t in recommendation_tables(answer, PLAN, wording.describe(PLAN))
            if "rivals" in t.title
        ).heads

    answer = full()
    everywhere = [dataclasses.replace(each, sound=1.0) for each in answer.others]
    sure = dataclasses.replace(answer.recipe, sound=1.0)
    assert "comes off" not in " ".join(
        heads(dataclasses.replace(answer, recipe=sure, others=everywhere))
    )
    assert "comes off the printer" in heads(
        dataclasses.replace(answer, recipe=dataclasses.replace(sure, sound=0.81))
    )


def test_without_tolerance_failures_limits_or_rival_their_rows_are_absent():
    rows = said(recommendation(), answers.plan())
    assert not [row for row in rows if "printer" in row or "rule" in row or "nine of ten" in row]
    alone = recommendation()
    alone = dataclasses.replace(
        alone, confirmation=dataclasses.replace(alone.confirmation, rival=NAN, fails=NAN)
    )
    assert not [row for row in said(alone) if "as the runner-up" in row]


def test_a_metric_to_minimise_must_stay_under():
    metrics = {"decay": {"from": "impulse", "unit": "ms", "goal": "minimise"}}
    rows = said(recommendation(), answers.plan(metrics=metrics))
    assert "their mean decay | at most 0.580 ms" in rows


def test_nothing_to_tell_has_no_table():
    assert said(recommendation(recipe=None, confirmation=None)) == []
