"""Acts as transactions: their history, and the way back."""

from __future__ import annotations

import pytest

from experiments.errors import LedgerError, PlanError
from experiments.ledger import Ledger
from experiments.records import StoredCurve

RESPONSE = StoredCurve("r.txt", "response", b"20 80\n20000 60\n", {"channel": 1})
DISTORTION = StoredCurve("d.txt", "distortion", b"100 1.5\n", {})


def measure(ledger, cone=1, session="monday", **more):
    more.setdefault("values", {"upper_limit": 9.5, "thd_peak": None})
    more.setdefault("curves", [RESPONSE, DISTORTION])
    return ledger.measure(cone, session=session, **more)


def test_undo_goes_back_act_by_act_to_the_start(ledger, resin, filament, dump):
    states, told = [dump(ledger)], []

    def note(done):
        told.append(done)
        states.append(dump(ledger))

    ledger.plan_cones([resin, filament], reason=["a", "b"], proposal={"seed": 1})
    note("cones 1 and 2 planned")
    ledger.printed(1, mass=2.0, minutes=30, note="n", changes={"cure_time": 13})
    note("cone 1 printed")
    ledger.failed(2, why="no grip")
    note("cone 2 failed")
    ledger.add(filament, note="from the shelf")
    note("cone 3 added as printed")
    measure(ledger, warnings=["w"], age_days=1.5)
    note("cone 1 measured in session monday")
    again = StoredCurve("r.txt", "response", b"20 81\n20000 60\n")
    measure(ledger, values={"upper_limit": 0.1 + 0.2}, curves=[again])
    note("cone 1 measured in session monday")
    ledger.set_aside(1, why="cracked")
    note("cone 1 set aside")
    ledger.put_back(1)
    note("cone 1 put back as measured")
    ledger.note("the room is damp", cone=2)
    note("note on cone 2 written")
    ledger.note("the room is damp")
    note("note written")
    while told:
        assert dump(ledger) == states.pop()
        assert ledger.undo() == f"undid: {told.pop()}"
    assert dump(ledger) == states.pop()
    assert not states
    with pytest.raises(LedgerError, match="nothing left to undo"):
        ledger.undo()


def test_undo_skips_what_is_undone_and_new_acts_go_on_from_there(ledger, resin, filament):
    ledger.add(resin)
    ledger.add(filament)
    assert ledger.undo() == "undid: cone 2 added as printed"
    assert ledger.add(resin) == 3
    assert ledger.undo() == "undid: cone 3 added as printed"
    assert ledger.undo() == "undid: cone 1 added as printed"
    assert list(ledger.history()["undone"]) == [False, False, True, False, True, True, False]


def test_a_number_that_was_given_is_never_given_again(ledger, resin, filament):
    assert ledger.plan_cones([resin, filament]) == [1, 2]
    ledger.undo()
    assert ledger.add(filament) == 3
    assert ledger.plan_cones([resin, filament]) == [4, 5]
    ledger.undo()
    ledger.undo()
    with Ledger.open(ledger.folder) as again:
        assert again.plan_cones([resin]) == [6]
    assert [cone.number for cone in ledger.cones()] == [6]


def test_undone_files_stay_in_the_archive(ledger, resin):
    ledger.add(resin)
    measure(ledger)
    ledger.undo()
    assert ledger.curves() == []
    with ledger.snapshot() as connection:
        (kept,) = connection.execute("SELECT count(*) FROM files").fetchone()
    assert kept == 2


def test_history_tells_who_when_and_what(ledger, resin):
    ledger.plan_cones([resin])
    ledger.printed(1, mass=2.5)
    newest = ledger.history(limit=1).iloc[0]
    assert newest["who"] == "maker"
    assert newest["at"].startswith("2031-03-05T09:00:")
    assert newest["at"].endswith("+00:00")
    assert (newest["act"], newest["summary"]) == ("printed", "cone 1 printed")
    assert newest["arguments"]["mass"] == 2.5
    assert newest["plan"] == ledger.plan.digest
    assert len(ledger.history()) == 3


def test_the_plan_of_the_time_is_kept(ledger, resin, plan_text):
    ledger.add(resin)
    file = ledger.folder / "experiment.toml"
    file.write_text(plan_text.replace("high = 8", "high = 9"))
    ledger.add({**resin, "ribs": 9})
    file.write_text(plan_text.replace("high = 8", "high = 9") + "# a remark\n")
    ledger.add({**resin, "ribs": 9})
    plans = ledger.plans()
    assert [("high = 9" in text) for text in plans["text"]] == [False, True]
    newest, before, first, _ = ledger.history()["plan"]
    assert newest == before != first


def test_an_edited_plan_that_is_broken_stops_acts_but_not_undo(ledger, resin, dump):
    empty = dump(ledger)
    ledger.add(resin)
    (ledger.folder / "experiment.toml").write_text("name = 3")
    with pytest.raises(PlanError):
        ledger.add(resin)
    with pytest.raises(PlanError):
        ledger.table()
    assert ledger.undo() == "undid: cone 1 added as printed"
    assert dump(ledger) == empty


def test_notes_make_a_lab_book(ledger, resin):
    ledger.add(resin)
    ledger.note("new resin bottle")
    ledger.note("slight smell of solvent", cone=1)
    assert list(ledger.notes()["text"]) == ["new resin bottle", "slight smell of solvent"]
    assert list(ledger.notes(1)["cone"]) == [1]
    with pytest.raises(LedgerError, match="note"):
        ledger.note(" ")


def test_an_act_that_changes_nothing_leaves_no_row(ledger):
    with ledger.act("nothing", {}) as act:
        act.summary = "nothing done"
    assert len(ledger.history()) == 1


def test_an_error_inside_an_act_leaves_nothing(ledger, dump):
    before = dump(ledger)

    def doomed():
        with ledger.act("doomed", {}) as act:
            act.writer.insert("notes", at="now", cone=None, text="half")
            raise RuntimeError("stop")

    with pytest.raises(RuntimeError, match="stop"):
        doomed()
    assert dump(ledger) == before
    assert len(ledger.history()) == 1


def test_two_ledgers_on_one_folder_see_each_other(ledger, resin):
    with Ledger.open(ledger.folder, who="helper") as other:
        other.add(resin)
        assert ledger.cone(1).settings == resin
        assert ledger.undo() == "undid: cone 1 added as printed"
        assert other.cones() == []
