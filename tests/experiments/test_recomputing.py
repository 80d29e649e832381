"""Stored values brought up to the present plan."""

from __future__ import annotations

import shutil

import numpy as np
import pytest

from experiments.errors import CurveError, LedgerError
from experiments.ledger import Ledger
from experiments.measuring import measure_files
from experiments.recomputing import recompute
from experiments.records import StoredCurve
from tests.raw_files import PLAN, STATED, SWEEP_PLAN, write_distortion, write_response


@pytest.fixture(scope="module")
def two_cones(tmp_path_factory):
    """A folder with two measured cones."""
    folder = tmp_path_factory.mktemp("recomputed")
    files = [write_response(folder / "response.txt"), write_distortion(folder / "distortion.txt")]
    with Ledger.create(folder / "worked", PLAN) as ledger:
        for wall, session in ((0.3, "a"), (0.4, "b")):
            cone = ledger.add({"wall": wall})
            hand = {"gloss": 1.0, "thd_peak": 9.0} if session == "b" else {}
            one = measure_files(ledger.plan, files, hand=hand)
            ledger.measure(
                cone,
                session=session,
                curves=one.curves,
                values=one.values,
                warnings=[*one.warnings, "smelled of solvent"],
                by_hand=one.by_hand,
            )
    return folder / "worked"


@pytest.fixture
def worked(two_cones, tmp_path):
    """A copy of it that a test may change."""
    with Ledger.open(shutil.copytree(two_cones, tmp_path / "worked")) as ledger:
        yield ledger


def test_recomputing_without_a_change_changes_nothing(worked, dump):
    before, acts = dump(worked), len(worked.history())
    assert recompute(worked).empty
    assert dump(worked) == before
    assert len(worked.history()) == acts


def test_recomputing_follows_the_plan_and_keeps_what_was_typed(worked, dump):
    file = worked.folder / "experiment.toml"
    before = dump(worked)
    file.write_text(PLAN.replace("drop_db = 6", "drop_db = 3").replace('"kHz"', '"Hz"'))
    shown = recompute(worked, only_show=True)
    assert dump(worked) == before
    changed = recompute(worked)
    assert changed.equals(shown)
    assert list(changed["cone"]) == [1, 1, 2, 2]
    assert set(changed["metric"]) == {"upper_limit", "upper_limit_6"}
    limits = changed[changed["metric"] == "upper_limit"]
    assert np.allclose(limits["after"], 1000 * limits["before"], rtol=1e-12)
    table = worked.table()
    # Butterworth, n = 4: 3 dB at 0.999209 fc (published_checks, filters).
    assert table["upper_limit_6"].tolist() == pytest.approx([8000 * 0.999209] * 2, rel=2e-3)
    assert table["thd_peak"].tolist() == [3.5, 9.0]
    assert table["gloss"].tolist()[1] == 1.0
    assert "smelled of solvent" in [str(one) for one in worked.measurements()[0].warnings]
    worked.undo()
    assert dump(worked) == before


def test_recomputing_adds_a_metric_that_joined_the_plan(worked):
    file = worked.folder / "experiment.toml"
    file.write_text(PLAN + '[metrics.level]\nfrom = "response"\nband = [200, 2000]\n')
    changed = recompute(worked)
    assert list(changed["metric"]) == ["level", "level"]
    assert changed["before"].isna().all()
    # 85 dB in the pass band of the low-pass.
    assert worked.table()["level"].tolist() == pytest.approx([85.0, 85.0], abs=0.01)


def test_recomputing_a_file_that_cannot_be_read_names_it_and_changes_nothing(worked, dump):
    worked.measure(1, session="c", curves=[StoredCurve("odd.txt", "response", b"what is this")])
    before = dump(worked)
    with pytest.raises(CurveError, match=r"cone 1, session c: odd\.txt"):
        recompute(worked)
    assert dump(worked) == before


def test_recomputing_refuses_when_somebody_worked_meanwhile(worked, monkeypatch):
    original = Ledger.curves

    def meanwhile(ledger, *args, **kwargs):
        found = original(ledger, *args, **kwargs)
        if len(worked.notes()) == 0:
            with Ledger.open(worked.folder) as other:
                other.note("busy")
                other.set_aside(2, why="lent")
        return found

    monkeypatch.setattr(Ledger, "curves", meanwhile)
    with pytest.raises(LedgerError, match="changed meanwhile"):
        recompute(worked)


def test_a_stored_sweep_is_read_as_it_was_played_though_the_rig_changed(tmp_path, recording):
    text = 'name = "s"\n' + SWEEP_PLAN
    with Ledger.create(tmp_path / "s", text) as ledger:
        one = measure_files(ledger.plan, [recording])
        cone = ledger.add({"wall": 0.3})
        ledger.measure(
            cone, session="a", curves=one.curves, values=one.values, warnings=one.warnings
        )
        (ledger.folder / "experiment.toml").write_text(text.replace("50:20000:1", "20:20000:9"))
        assert recompute(ledger).empty


def rewrite(ledger, *pairs):
    file = ledger.folder / "experiment.toml"
    text = file.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    file.write_text(text)


def test_recomputing_makes_a_refused_table_whole(worked):
    rewrite(worked, ("drop_db = 6", "drop_db = 3"))
    with pytest.raises(LedgerError, match="coneloop recompute"):
        worked.table()
    recompute(worked)
    assert worked.check() == []
    worked.undo()
    with pytest.raises(LedgerError, match="coneloop recompute"):
        worked.table()


def test_a_definition_that_changes_no_value_is_stamped_all_the_same(worked):
    rewrite(worked, ("drop_db = 6", "drop_db = 6.0000000001"))
    recompute(worked)
    assert worked.disagreements() == []


def test_entered_values_follow_a_unit_that_converts(worked):
    rewrite(worked, ("[metrics.gloss]\n", '[metrics.gloss]\nunit = "min"\n'))
    recompute(worked, keep=["gloss"])
    rewrite(worked, ('unit = "min"', 'unit = "s"'))
    changed = recompute(worked)
    assert changed[["metric", "before", "after"]].to_numpy().tolist() == [["gloss", 1.0, 60.0]]
    assert worked.table()["gloss"].tolist()[1] == 60.0
    assert worked.measurements()[1].by_hand >= {"gloss"}


def test_entered_values_of_an_unknown_unit_stand_only_if_they_are_kept(worked, dump):
    rewrite(worked, ("[metrics.gloss]\n", '[metrics.gloss]\nunit = "GU"\n'))
    before = dump(worked)
    with pytest.raises(LedgerError, match="--keep gloss"):
        recompute(worked)
    assert dump(worked) == before
    with pytest.raises(LedgerError, match="a metric of the plan"):
        recompute(worked, keep=["glos"])
    assert recompute(worked, keep=["gloss"]).empty
    assert worked.table()["gloss"].tolist()[1] == 1.0


def test_values_that_lose_their_file_are_taken_out(worked):
    rewrite(
        worked,
        ('[metrics.upper_limit]\nfrom = "response"', '[metrics.upper_limit]\nfrom = "impulse"'),
    )
    changed = recompute(worked)
    lost = changed[changed["metric"] == "upper_limit"]
    assert lost["after"].isna().all()
    assert len(lost) == 2
    assert worked.table()["upper_limit"].isna().all()


def test_recomputing_names_every_file_that_cannot_be_read(worked):
    for session in ("c", "d"):
        odd = StoredCurve(f"{session}.txt", "response", b"what is this " + session.encode())
        worked.measure(1, session=session, curves=[odd])
    with pytest.raises(CurveError) as refusal:
        recompute(worked)
    assert [problem.where.split(":")[0] for problem in refusal.value.problems] == [
        "cone 1, session c",
        "cone 1, session d",
    ]
    worked.set_aside(1, why="its files are lost")
    assert recompute(worked).empty


def test_recomputing_reads_a_stored_file_in_the_form_of_its_day(tmp_path, commas):
    with Ledger.create(tmp_path / "c", STATED) as ledger:
        cone = ledger.add({"wall": 0.3})
        one = measure_files(ledger.plan, [commas])
        ledger.measure(cone, session="a", curves=one.curves, values=one.values)
        (ledger.folder / "experiment.toml").write_text(PLAN)
        assert ledger.disagreements() == []
        assert recompute(ledger).empty


def test_a_form_that_joins_is_tried_on_older_files_and_passed_over_where_it_does_not_fit(worked):
    file = worked.folder / "experiment.toml"
    text = file.read_text()
    file.write_text(text + '[rig.files.response]\nunit = "Hz"\n')
    assert "rig.files.response now states unit" in worked.disagreements()[0].found
    assert recompute(worked).empty
    file.write_text(text + '[rig.files.response]\nunit = "Hz"\ndecimal = ","\n')
    assert recompute(worked).empty
    assert worked.disagreements() == []


def test_entries_from_before_units_were_kept_are_taken_as_they_are_and_marked(worked):
    with worked.act("edit", {}) as act:
        act.writer.connection.execute("UPDATE readings SET definition = NULL WHERE by_hand")
    rewrite(worked, ("[metrics.gloss]\n", '[metrics.gloss]\nunit = "min"\n'))
    assert recompute(worked).empty
    rewrite(worked, ('unit = "min"', 'unit = "s"'))
    assert recompute(worked)["after"].tolist() == [60.0]
