"""Looking: what is handed out, and that looking changes nothing."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from experiments import view
from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.records import STATUSES, Caution, StoredCurve, caution_text, cautions_of


def test_curves_come_by_cone_by_measurement_or_all(ledger, resin):
    for cone in (1, 2):
        ledger.add(resin)
        for session in ("a", "b"):
            content = f"{cone}{session}".encode()
            ledger.measure(
                cone, session=session, curves=[StoredCurve("r", "response", content)], values={}
            )
    assert [curve.content for curve in ledger.curves()] == [b"1a", b"1b", b"2a", b"2b"]
    assert [curve.content for curve in ledger.curves(2)] == [b"2a", b"2b"]
    assert [curve.content for curve in ledger.curves(measurement=2)] == [b"1b"]
    assert ledger.curves(1, measurement=3) == []
    assert [curve.session for curve in ledger.iterate_curves(1)] == ["a", "b"]
    with pytest.raises(LedgerError, match="cone"):
        ledger.curves(0)


def test_the_same_bytes_are_stored_once(ledger, resin):
    for cone in (1, 2):
        ledger.add(resin)
        curve = StoredCurve("r", "response", b"same")
        ledger.measure(cone, session="a", curves=[curve, curve], values={})
    assert len(ledger.curves()) == 4
    with ledger.snapshot() as connection:
        assert connection.execute("SELECT count(*) FROM files").fetchone() == (1,)


def test_an_empty_or_large_file_comes_back_as_it_was(ledger, resin):
    ledger.add(resin)
    large = bytes(range(256)) * 20000
    curves = [StoredCurve("e", "response", b""), StoredCurve("l", "sweep", large)]
    ledger.measure(1, session="a", curves=curves, values={})
    assert [curve.content for curve in ledger.curves(1)] == [b"", large]


def test_the_digest_of_the_data_follows_the_data_and_comes_back_with_undo(ledger, resin):
    empty = ledger.data_digest()
    ledger.add(resin)
    one = ledger.data_digest()
    ledger.note("a remark changes no answer")
    assert ledger.data_digest() == one
    ledger.measure(1, session="a", values={"upper_limit": 7.0})
    measured = ledger.data_digest()
    assert len({empty, one, measured}) == 3
    ledger.undo()
    assert ledger.data_digest() == one


def test_the_digest_is_the_same_in_another_experiment_with_the_same_data(
    ledger, resin, tmp_path, plan_text
):
    with Ledger.create(tmp_path / "other", plan_text) as other:
        for one in (ledger, other):
            one.add(resin)
            one.measure(1, session="a", values={"upper_limit": 0.1 + 0.2})
        assert other.data_digest() == ledger.data_digest()


def test_a_cone_has_all_that_was_recorded(ledger, resin):
    ledger.plan_cones([resin], reason=["to see"])
    ledger.printed(1, mass=2.5, minutes=31.5, note="shiny")
    cone = ledger.cone(1)
    assert cone.status in STATUSES
    assert (cone.reason, cone.mass, cone.minutes, cone.note) == ("to see", 2.5, 31.5, "shiny")
    assert cone.planned_at == "2031-03-05T09:00:02+00:00"
    assert cone.printed_at == "2031-03-05T09:00:03+00:00"
    assert cone.measurements == 0
    assert isinstance(cone.settings["ribs"], int)
    assert isinstance(cone.settings["cure_time"], float)


def test_warnings_survive_the_store(ledger, resin):
    given = [Caution("low_level", "too low"), "plain words", ValueError("odd")]
    ledger.add(resin)
    ledger.measure(1, session="a", values={"upper_limit": 7.0}, warnings=given)
    kept = ledger.measurements()[0].warnings
    assert [(one.code, one.text) for one in kept] == [
        ("low_level", "too low"),
        ("remark", "plain words"),
        ("remark", "odd"),
    ]
    assert cautions_of(caution_text(kept)) == kept


def test_check_finds_a_reference_cone_that_is_not_there(ledger, resin, plan_text):
    assert ledger.check() == []  # not while the table is empty
    ledger.add(resin)
    assert ledger.check() == []
    text = plan_text.replace("reference_cone = 1", "reference_cone = 9")
    (ledger.folder / "experiment.toml").write_text(text)
    (problem,) = ledger.check()
    assert (problem.where, problem.found) == ("sessions.reference_cone", "cone 9")


def test_check_finds_broken_references(ledger, resin):
    ledger.add(resin)
    with ledger.snapshot() as connection:
        pass
    connection.execute("PRAGMA foreign_keys = OFF")
    connection.execute("INSERT INTO notes (at, cone, text) VALUES ('now', 77, 'lost')")
    found = [problem.found for problem in ledger.check()]
    assert found == ["a changed row 1", "row 1 without its cones"]  # nobody sealed it


def test_a_planned_cone_off_the_grid_of_a_later_plan_is_told(ledger, resin, plan_text):
    ledger.plan_cones([resin])
    text = plan_text.replace("step = 0.1", "step = 0.8")
    (ledger.folder / "experiment.toml").write_text(text)
    (problem,) = ledger.check()
    assert problem.where == "variables.wall"
    assert "in cone 1" in problem.found


def test_the_clock_is_utc_and_the_user_is_the_computers(tmp_path, plan_text, monkeypatch):
    monkeypatch.setenv("LOGNAME", "mara")
    with Ledger.create(tmp_path / "a", plan_text) as ledger:
        first = ledger.history().iloc[0]
    assert first["who"] == "mara"
    seconds = (datetime.now(UTC) - datetime.fromisoformat(first["at"])).total_seconds()
    assert 0 <= seconds < 60


def test_a_computer_without_user_names(tmp_path, plan_text, monkeypatch):
    def nobody():
        raise OSError("no such account")

    monkeypatch.setattr(view.getpass, "getuser", nobody)
    with Ledger.create(tmp_path / "a", plan_text) as ledger:
        assert ledger.history().iloc[0]["who"] == "somebody"


def test_a_closed_ledger_says_so_plainly(ledger):
    ledger.close()
    ledger.close()
    with pytest.raises(LedgerError, match="closed"):
        ledger.table()
