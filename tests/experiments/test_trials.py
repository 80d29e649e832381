"""The table of trials: columns, one row a measurement, plans that grew, speed."""

from __future__ import annotations

import math
import time

import numpy as np
import pandas as pd
import pytest

from experiments.circumstances import CIRCUMSTANCES
from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.plan import Plan
from experiments.trials import is_mass

GLUE = """
[variables.glue]
kind = "choice"
levels = ["none", "rim", "full"]
{before}

[variables.glue_mass]
kind = "continuous"
low = 0.0
high = 2.0
step = 0.5
only_when = {{ glue = ["rim", "full"] }}
{child_before}
"""


def grow(ledger, plan_text, before="", child_before=""):
    text = plan_text + GLUE.format(before=before, child_before=child_before)
    (ledger.folder / "experiment.toml").write_text(text)


def test_columns_and_types_without_any_cone(ledger):
    table = ledger.table()
    assert list(table.columns) == [
        *("cone", "status", "plate", "session"),
        *("age_days", "light_hours", "temperature_c", "humidity_percent"),
        *("process", "cure_time", "wall", "ribs"),
        *("upper_limit", "thd_peak", "mass"),
    ]
    assert len(table) == 0
    kinds = {name: str(kind) for name, kind in table.dtypes.items()}
    assert kinds["cone"] == "int64"
    assert kinds["plate"] == "Int64"
    assert kinds["status"] == kinds["session"] == kinds["process"] == "object"
    numbers = (*CIRCUMSTANCES, "cure_time", "wall", "ribs", "upper_limit", "mass")
    assert {kinds[name] for name in numbers} == {"float64"}


def test_one_row_a_measurement_and_one_for_each_other_cone(ledger, resin, filament):
    ledger.plan_cones([resin, filament, resin, resin])
    ledger.failed(2, why="warped")
    for cone in (3, 4):
        ledger.printed(cone, mass=2.5)
    ledger.measure(3, session="b", values={"upper_limit": 9.0}, age_days=2, temperature_c=23)
    ledger.measure(4, session="b", values={"upper_limit": 8.0, "mass": 2.4})
    ledger.measure(3, session="c", values={"upper_limit": 7.0}, light_hours=5, humidity_percent=40)
    ledger.set_aside(4, why="lent")
    table = ledger.table()
    assert table["cone"].tolist() == [1, 2, 3, 3, 4]
    assert table["status"].tolist() == ["planned", "failed", "measured", "measured", "set aside"]
    assert table["session"].tolist() == [None, None, "b", "c", "b"]
    assert table["process"].tolist() == ["resin", "filament", "resin", "resin", "resin"]
    np.testing.assert_array_equal(table["cure_time"], [12, math.nan, 12, 12, 12])
    np.testing.assert_array_equal(table["upper_limit"], [math.nan, math.nan, 9, 7, 8])
    # A mass given on printing counts for every measurement that has none of its own.
    np.testing.assert_array_equal(table["mass"], [math.nan, math.nan, 2.5, 2.5, 2.4])
    np.testing.assert_array_equal(table["age_days"], [math.nan, math.nan, 2, math.nan, math.nan])
    np.testing.assert_array_equal(table["light_hours"].isna(), [True, True, True, False, True])
    np.testing.assert_array_equal(table["temperature_c"], [math.nan] * 2 + [23] + [math.nan] * 2)
    np.testing.assert_array_equal(
        table["humidity_percent"].isna(), [True, True, True, False, True]
    )
    assert table["plate"].tolist() == [1] * 5


def test_readings_find_their_rows_when_cones_are_measured_out_of_order(ledger, resin):
    for _ in range(5):
        ledger.add(resin)
    for value, cone in enumerate([4, 2, 5, 2, 1, 4], start=1):
        ledger.measure(cone, session=f"s{value}", values={"upper_limit": float(value)})
    table = ledger.table()
    assert table["cone"].tolist() == [1, 2, 2, 3, 4, 4, 5]
    np.testing.assert_array_equal(table["upper_limit"], [5, 2, 4, math.nan, 1, 6, 3])


def test_a_variable_that_joins_later_shows_what_earlier_cones_had(ledger, resin, plan_text):
    ledger.add(resin)
    grow(ledger, plan_text, before='before = "rim"', child_before="before = 0.5")
    ledger.add({**resin, "glue": "full", "glue_mass": 1.5})
    ledger.add({**resin, "glue": "none"})
    table = ledger.table()
    assert table["glue"].tolist() == ["rim", "full", "none"]
    np.testing.assert_array_equal(table["glue_mass"], [0.5, 1.5, math.nan])
    assert ledger.cone(1).settings == {**resin, "glue": "rim", "glue_mass": 0.5}


def test_a_before_that_leaves_the_child_inactive(ledger, resin, plan_text):
    ledger.add(resin)
    grow(ledger, plan_text, before='before = "none"', child_before="before = 0.5")
    assert ledger.cone(1).settings == {**resin, "glue": "none"}


def test_without_before_earlier_cones_are_unknown_there(ledger, resin, plan_text):
    ledger.add(resin)
    grow(ledger, plan_text)
    with pytest.raises(
        LedgerError, match=r"variables\.glue: found no value for cone 1"
    ) as refusal:
        ledger.table()
    table = ledger.table(strict=False)
    assert table["glue"].tolist() == [None]
    assert table["glue_mass"].isna().all()
    assert ledger.check() == ledger.disagreements() == list(refusal.value.problems)


def test_a_variable_or_level_that_leaves_the_plan(ledger, resin, filament, plan_text):
    ledger.add(resin)
    ledger.add(filament)
    ribs = '[variables.ribs]\nkind = "integer"\nlow = 0\nhigh = 8\n'
    assert ribs in plan_text
    text = plan_text.replace(ribs, "").replace('["resin", "filament"]', '["resin", "clay"]')
    (ledger.folder / "experiment.toml").write_text(text)
    table = ledger.table()
    assert "ribs" not in table
    # What a cone was does not change because the plan no longer offers it.
    assert table["process"].tolist() == ["resin", "filament"]
    assert table["wall"].tolist() == [0.4, 0.6]
    assert ledger.check() == []
    assert "the level 'filament' of cone 2" in ledger.left_over()[-1]
    (ledger.folder / "experiment.toml").write_text(plan_text)
    assert ledger.cone(1).settings == resin
    assert ledger.check() == []


def test_a_kind_that_changes_from_words_to_numbers(ledger, resin, plan_text):
    ledger.add(resin)
    words = '[variables.ribs]\nkind = "ordered"\nlevels = ["3", "4"]\n'
    numbers = '[variables.process]\nkind = "ordered"\nlevels = [1, 2]\n'
    rest = plan_text[plan_text.index("[metrics.") :]
    (ledger.folder / "experiment.toml").write_text('name = "n"\n' + words + numbers + rest)
    table = ledger.table(strict=False)
    assert table["ribs"].tolist() == ["3"]
    assert table["process"].isna().tolist() == [True]


def test_only_hand_metrics_in_grams_are_the_mass():
    def metric(**keys):
        metrics = {"m": {"goal": "maximise", **keys}}
        variables = {"wall": {"kind": "integer", "low": 0, "high": 3}}
        plan = Plan.from_dict({"name": "p", "variables": variables, "metrics": metrics})
        return plan.metrics["m"]

    assert is_mass(metric(**{"from": "hand", "measure": "mass", "unit": "g"}))
    assert is_mass(metric(**{"from": "hand", "measure": "mass_g"}))
    assert not is_mass(metric(**{"from": "hand", "unit": "g"}))
    assert not is_mass(metric(**{"from": "response", "measure": "level"}))


@pytest.fixture
def thousand(tmp_path, plan_text):
    """A thousand cones, each measured twice, written in one transaction."""
    with Ledger.create(tmp_path / "many", plan_text) as ledger:
        with ledger.act("bulk", {}) as act:
            act.summary = "a thousand cones"
            connection = act.writer.connection
            cones = range(1, 1001)
            act.writer.insert("sessions", id=1, name="s", at="now")
            connection.executemany(
                """INSERT INTO cones (id, status, origin, version)
                VALUES (?, 'measured', 'added', 2)""",
                [(cone,) for cone in cones],
            )
            connection.executemany(
                "INSERT INTO settings (cone, variable, value) VALUES (?, ?, ?)",
                [
                    (cone, name, value)
                    for cone in cones
                    for name, value in (
                        ("process", "resin" if cone % 2 else "filament"),
                        *((("cure_time", cone % 40),) if cone % 2 else ()),
                        ("wall", 0.4),
                        ("ribs", cone % 8),
                    )
                ],
            )
            connection.executemany(
                "INSERT INTO measurements (id, cone, session, at) VALUES (?, ?, 1, 'now')",
                [(number, 1 + number % 1000) for number in range(1, 2001)],
            )
            connection.executemany(
                "INSERT INTO readings (measurement, metric, value, by_hand) VALUES (?, ?, ?, 0)",
                [
                    (number, metric, number / 7)
                    for number in range(1, 2001)
                    for metric in ("upper_limit", "thd_peak")
                ],
            )
        yield ledger


def test_a_thousand_cones_take_under_half_a_second_of_the_processor(thousand):
    thousand.table()
    start = time.process_time()
    table = thousand.table()
    seconds = time.process_time() - start
    assert table.shape == (2000, 15)
    assert seconds < 0.5
    start = time.process_time()
    cones = thousand.cones()
    assert len(cones) == 1000
    assert time.process_time() - start < 1.0


def test_the_table_agrees_with_a_plain_walk_over_the_records(thousand):
    table = thousand.table()
    walked = pd.DataFrame(
        [{"cone": cone.number, **cone.settings, **one.values} for cone, one in _pairs(thousand)]
    )
    walked = walked.sort_values("cone", kind="stable").reset_index(drop=True)
    for name in ("cone", "cure_time", "wall", "ribs", "upper_limit", "thd_peak"):
        np.testing.assert_array_equal(table[name].to_numpy(float), walked[name].to_numpy(float))
    assert table["process"].tolist() == walked["process"].tolist()


def _pairs(ledger):
    cones = {cone.number: cone for cone in ledger.cones()}
    return [(cones[one.cone], one) for one in ledger.measurements()]


def test_what_lies_below_a_level_that_left_the_plan_shows_as_it_is_stored(
    ledger, resin, filament, plan_text
):
    ledger.add(resin)
    ledger.add(filament)
    text = plan_text.replace('["resin", "filament"]', '["clay", "filament"]')
    text = text.replace('process = ["resin"]', 'process = ["clay"]')
    (ledger.folder / "experiment.toml").write_text(text)
    table = ledger.table()
    assert table["cure_time"].fillna(-1).tolist() == [12, -1]
    assert ledger.cone(1).settings == resin
    assert ledger.cone(2).settings == filament


def test_a_metric_may_bear_the_name_that_the_catalogue_gives_the_mass(ledger, resin, plan_text):
    text = plan_text.replace("[metrics.mass]", "[metrics.mass_g]")
    (ledger.folder / "experiment.toml").write_text(text)
    ledger.add(resin, mass=2.25)
    ledger.add(resin)
    ledger.measure(2, session="a", values={"mass_g": 2.31})
    assert ledger.table()["mass_g"].fillna(-1).tolist() == [-1, 2.31]
    assert ledger.full_table()["mass_g"].tolist() == [2.25, 2.31]


def test_a_renamed_level_is_known_by_its_old_name(ledger, resin, filament):
    ledger.plan_cones([resin, filament])
    path = ledger.folder / "experiment.toml"
    text = path.read_text(encoding="utf-8").replace('["resin", "filament"]', '["SLA", "filament"]')
    text = text.replace('process = ["resin"]', 'process = ["SLA"]')
    path.write_text(text, encoding="utf-8")
    (note,) = ledger.left_over()
    assert 'if it was renamed, say so: were = { NEW = "resin" } in [variables.process]' in note
    path.write_text(
        text.replace('kind = "choice"', 'kind = "choice"\nwere = { SLA = "resin" }'),
        encoding="utf-8",
    )
    assert ledger.left_over() == []
    assert ledger.table()["process"].tolist() == ["SLA", "filament"]
    assert ledger.cone(1).settings["cure_time"] == 12
    ledger.printed(1, changes={"wall": 0.5})
    assert ledger.cone(1).settings["process"] == "SLA"
