"""Ageing as tables of text."""

from __future__ import annotations

import pytest

from optimiser import ageing
from optimiser.ageing_tables import (
    ageing_tables,
    beside_table,
    crossing_table,
    drift_table,
    law_table,
    score_table,
    setting_table,
)
from tests import kept_cones

TABLES = {
    "drift": drift_table,
    "law": law_table,
    "crossing": crossing_table,
    "setting": setting_table,
    "score": score_table,
}


@pytest.fixture(scope="module")
def answer():
    return ageing(kept_cones.plan(), kept_cones.draw(drift=-2.0).trials, at=800.0)


@pytest.mark.parametrize("name", TABLES)
def test_every_row_has_a_cell_a_head_and_no_nan(answer, name):
    table = TABLES[name](answer)
    assert table.rows
    for row in table.rows:
        assert len(row) == len(table.heads)
        assert not any("nan" in cell.lower() or "inf" in cell.lower() for cell in row)


def test_heads_tell_the_times(answer):
    assert drift_table(answer).heads[2:4] == ["after 100 h", "after 500 h"]
    assert score_table(answer, "score").heads[3] == "after 800 h"


def test_cones_alike_share_a_row():
    found = ageing(kept_cones.plan(), kept_cones.draw(drift=0.0, spread=0.0).trials)
    rows = crossing_table(found).rows
    assert len(rows) < 6
    assert sum(len(row[2].split(", ")) for row in rows) == 6


def test_nothing_told_is_said_in_words():
    found = ageing(kept_cones.plan(), kept_cones.draw().trials.iloc[:0])
    assert drift_table(found).rows == [
        ["level", "cannot tell yet", "cannot tell yet", "cannot tell yet", "0", "0"]
    ]
    assert crossing_table(found).rows == law_table(found).rows == setting_table(found).rows == []
    assert [each.title for each in ageing_tables(found)] == [drift_table(found).title]


def test_all_tables_that_have_rows(answer):
    assert [each.title for each in ageing_tables(answer, "worth")] == [
        TABLES[name](answer).title.replace("Score", "Worth") for name in TABLES
    ]


def test_a_climate_has_words_of_its_own():
    trials = kept_cones.draw(warm=0.3, drift=-2.0).trials
    beside = beside_table(ageing(kept_cones.plan(), trials))
    assert beside.rows[0][1].startswith("temperature, per 10\N{NO-BREAK SPACE}°C more: ")
    found = ageing(kept_cones.plan(), trials, "temperature_c")
    drift, _ = ageing_tables(found)
    assert drift.title.startswith("Dependence on temperature")
    assert drift.heads[2].startswith("over ")
    assert drift.rows[0][1] == "rises"
