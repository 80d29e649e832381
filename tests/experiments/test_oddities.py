"""What looks odd is told, once a cause, and only while it is so."""

from __future__ import annotations

import pytest

from experiments.acts import measure_cone
from experiments.ledger import Ledger
from experiments.oddities import copied_files, sessions_without_reference
from experiments.plan import Plan
from experiments.records import StoredCurve

CURVE = StoredCurve("r.txt", "response", b"20 80\n")


@pytest.fixture
def sessions(ledger, resin):
    """Cone 1 in sessions a and b, cone 2 in b and c."""
    for _ in range(2):
        ledger.add(resin)
    for cone, session in ((1, "a"), (1, "b"), (2, "b"), (2, "c")):
        ledger.measure(cone, session=session, values={"upper_limit": 8.0})
    return ledger


@pytest.mark.parametrize(
    ("key", "told"),
    [
        ("reference_cone = 1", ["was not measured in 1 of 3 sessions: c"]),
        ("reference_cone = 2", ["was not measured in 1 of 3 sessions: a"]),
        ("", ["names no reference_cone"]),
    ],
)
def test_sessions_without_the_reference_cone_are_named(sessions, plan_text, key, told):
    plan = Plan.from_text(plan_text.replace("reference_cone = 1", key))
    with sessions._store.reading() as connection:
        found = sessions_without_reference(connection, plan)
    assert len(found) == len(told)
    assert all(words in text for words, text in zip(told, found, strict=True))


def test_a_reference_that_is_always_there_is_nothing_odd(sessions):
    sessions.measure(1, session="c", values={"upper_limit": 8.0})
    assert sessions.left_over() == []


def test_a_single_session_needs_no_reference(ledger, resin):
    ledger.add(resin)
    ledger.measure(1, session="a", values={"upper_limit": 8.0})
    with ledger._store.reading() as connection:
        plan = Plan.from_dict({**ledger.plan.to_dict(), "sessions": {}})
        assert sessions_without_reference(connection, plan) == []


def test_copies_that_an_earlier_release_took_are_told_until_they_count_no_more(
    ledger: Ledger, resin
):
    ledger.add(resin)
    values = {"upper_limit": 8.0}
    ledger.measure(1, session="a", curves=[CURVE], values=values)
    with ledger.act("measure", {}) as act:
        key = measure_cone(
            act.writer,
            ledger.plan,
            1,
            session="b",
            curves=[CURVE],
            values=values,
            by_hand=(),
            cautions=[],
            given={},
            note="",
        )
    with ledger._store.reading() as connection:
        (told,) = copied_files(connection)
    assert told.startswith("cone 1 has r.txt in 2 measurements, byte for byte")
    with ledger.act("edit", {}) as act:
        act.writer.connection.execute("SELECT 1")
        row = act.writer.one("SELECT id FROM readings WHERE measurement = ?", (key,))
        act.writer.update("readings", row[0], value=None, by_hand=1)
    with ledger._store.reading() as connection:
        assert copied_files(connection) == []
