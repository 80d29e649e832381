"""The history: newest first, what is undone, and going back in time."""

from __future__ import annotations

import json

import pytest

from experiments.errors import LedgerError


def test_an_act_that_is_no_longer_the_last_is_not_undone(ledger, resin, dump):
    ledger.add(resin)
    seen = int(ledger.history(1)["id"].iloc[0])
    ledger.add(resin)
    before = dump(ledger)
    with pytest.raises(LedgerError, match="cone 2 added as printed"):
        ledger.undo(act=seen)
    assert dump(ledger) == before
    ledger.undo(act=seen + 1)
    assert ledger.undo(act=seen) == "undid: cone 1 added as printed"


def test_columns_and_types(ledger, resin):
    ledger.add(resin)
    ledger.undo()
    history = ledger.history()
    assert list(history.columns) == [
        *("id", "at", "who", "act", "summary", "arguments", "undone", "plan")
    ]
    assert history["id"].tolist() == [3, 2, 1]
    assert history["act"].tolist() == ["undo", "add", "start"]
    assert history["undone"].tolist() == [False, True, False]
    assert history["arguments"].iloc[0] == {"act": 2}
    assert str(history["undone"].dtype) == "bool"


def test_the_newest_act_with_and_without_notes(ledger, resin):
    assert ledger.newest_act() == ledger.newest_act(notes=False) == 1
    ledger.add(resin)
    ledger.note("a slow day")
    assert (ledger.newest_act(), ledger.newest_act(notes=False)) == (3, 2)
    ledger.undo()
    assert ledger.newest_act(notes=False) == 4


def test_every_row_holds_the_way_back_as_plain_json(ledger, resin):
    ledger.add(resin)
    ledger.set_aside(1, why="lent")
    with ledger.snapshot() as connection:
        texts = connection.execute("SELECT changes FROM history ORDER BY id").fetchall()
    changes = [json.loads(text) for (text,) in texts]
    assert changes[0] == []
    assert changes[1][0][:3] == ["insert", "cones", 1]
    assert changes[2] == [["update", "cones", 1, {"status": "printed", "aside": "", "version": 2}]]


def test_the_start_and_an_undo_are_not_undone(ledger, resin):
    with pytest.raises(LedgerError, match="nothing left"):
        ledger.undo()
    ledger.add(resin)
    ledger.undo()
    with pytest.raises(LedgerError, match="nothing left"):
        ledger.undo()


def test_the_table_of_any_earlier_day(ledger, resin, filament):
    tables = {1: ledger.wide_table()}

    def keep():
        tables[int(ledger.history(1)["id"].iloc[0])] = ledger.wide_table()

    ledger.plan_cones([resin, filament])
    keep()
    ledger.printed(1, mass=2.0, changes={"wall": 0.5})
    keep()
    ledger.undo()
    keep()
    ledger.printed(1)
    keep()
    ledger.measure(1, session="a", values={"upper_limit": 7.0})
    keep()
    for act, table in tables.items():
        assert ledger.wide_table_at(act).equals(table)
