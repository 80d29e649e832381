"""What a stored value means, and finding those that mean something else by now."""

from __future__ import annotations

import hashlib
import json

import pytest

from experiments.acoustics.catalogue import MEASURES
from experiments.definitions import definition_of, stale_readings
from experiments.plan import Plan
from experiments.records import StoredCurve


def plan_of(text, *pairs):
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return Plan.from_text(text)


def stale(ledger, plan):
    with ledger.snapshot() as connection:
        return stale_readings(connection, plan)


def metric_of(plan, name="upper_limit", file="response"):
    return definition_of(plan, plan.metrics[name], file, by_hand=False)


@pytest.fixture
def measured(ledger, resin):
    ledger.add(resin)
    ledger.measure(
        1,
        session="a",
        curves=[StoredCurve("r.txt", "response", b"1")],
        values={"upper_limit": 9.0, "mass": 2.0},
    )
    return ledger


def test_a_definition_holds_all_that_moves_the_value(plan_text):
    now = metric_of(plan_of(plan_text))
    text = MEASURES["upper_limit_hz"].definition
    assert json.loads(now) == {
        "file": "response",
        "measure": "upper_limit_hz",
        "method": hashlib.sha256(text.encode()).hexdigest()[:8],
        "options": {"band": None, "drop_db": 10.0, "smooth": None},
        "pinned": [],
        "unit": "kHz",
    }
    head = "[metrics.upper_limit]\n"
    for change in (
        ('unit = "kHz"', 'unit = "Hz"'),
        (head, f"{head}drop_db = 6\n"),
        (head, f"{head}band = [100, 9000]\n"),
        (head, f'{head}measure = "lower_limit"\n'),
        ("[sessions]", '[rig.files.response]\ndecimal = ","\n[sessions]'),
    ):
        assert metric_of(plan_of(plan_text, change)) != now, change


@pytest.mark.parametrize(
    "change",
    [
        ("[metrics.upper_limit]\n", "[metrics.upper_limit]\ndrop_db = 10\n"),
        ("good = 14.0", "good = 12.0"),
        ("[metrics.upper_limit]\n", '[metrics.upper_limit]\nlabel = "reach"\nweight = 2\n'),
        ("[sessions]", "[rig.files.sweep]\nchannel = 2\n[sessions]"),
    ],
)
def test_a_definition_does_not_change_with_what_moves_nothing(plan_text, change):
    assert metric_of(plan_of(plan_text, change)) == metric_of(plan_of(plan_text))


def test_nothing_is_stale_under_the_same_plan(measured):
    assert stale(measured, measured.plan) == []


def test_a_computed_value_is_stale_when_its_definition_changes(measured, plan_text):
    (one,) = stale(measured, plan_of(plan_text, ('unit = "kHz"', 'unit = "Hz"')))
    assert (one.cone, one.metric.name, one.value, one.by_hand) == (1, "upper_limit", 9.0, False)
    assert one.was["unit"] == "kHz"
    assert one.counts


def test_a_pin_that_joins_makes_stale_and_one_that_goes_or_changes_does_not(measured, plan_text):
    def pinned(keys):
        return plan_text + f"[rig.files.response]\n{keys}\n"

    curve = StoredCurve("r.txt", "response", b"2")
    (measured.folder / "experiment.toml").write_text(pinned('decimal = ","'))
    assert [one.cone for one in stale(measured, measured.plan)] == [1]
    measured.measure(1, session="b", curves=[curve], values={"upper_limit": 8.0})
    later = Plan.from_text(pinned('decimal = "."'))
    assert [one.measurement for one in stale(measured, later)] == [1]
    assert [one.measurement for one in stale(measured, Plan.from_text(plan_text))] == []


def test_an_entered_value_is_converted_where_the_units_allow(measured, plan_text):
    (one,) = stale(measured, plan_of(plan_text, ('unit = "g"', 'unit = "kg"')))
    assert (one.by_hand, one.converted) == (True, pytest.approx(0.002))
    (one,) = stale(measured, plan_of(plan_text, ('unit = "g"', 'unit = "oz"')))
    assert one.converted is None


def test_a_metric_that_joins_is_stale_where_files_can_give_it(measured, plan_text):
    joined = '[metrics.breakup]\nfrom = "response"\n[metrics.decay]\nfrom = "impulse"\n[sessions]'
    (one,) = stale(measured, plan_of(plan_text, ("[sessions]", joined)))
    assert (one.metric.name, one.reading, one.file) == ("breakup", None, "response")


def test_a_value_whose_file_never_came_is_stale_when_the_source_changes(measured, plan_text):
    changed = plan_of(plan_text, ('from = "response"', 'from = "impulse"'))
    (one,) = stale(measured, changed)
    assert (one.value, one.file) == (9.0, None)


def test_a_value_without_a_definition_is_stale_only_if_it_was_computed(measured, plan_text):
    with measured.act("edit", {}) as act:
        for (key,) in act.writer.all("SELECT id FROM readings"):
            act.writer.connection.execute(
                "UPDATE readings SET definition = NULL WHERE id = ?", (key,)
            )
    assert [one.metric.name for one in stale(measured, plan_of(plan_text))] == ["upper_limit"]


def test_a_cone_that_is_set_aside_does_not_count(measured, plan_text):
    measured.set_aside(1, why="cracked")
    (one,) = stale(measured, plan_of(plan_text, ('unit = "kHz"', 'unit = "Hz"')))
    assert not one.counts


def test_undoing_brings_the_definition_back_too(measured):
    with measured.act("edit", {}) as act:
        (key,) = act.writer.one("SELECT id FROM readings WHERE metric = 'upper_limit'")
        act.writer.update("readings", key, value=7.0, by_hand=1)
    with measured.snapshot() as connection:
        typed = connection.execute("SELECT definition FROM readings WHERE id = ?", (key,))
        assert "file" not in json.loads(typed.fetchone()[0])
    measured.undo()
    assert stale(measured, measured.plan) == []
