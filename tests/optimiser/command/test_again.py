"""The verb `again`: what was proposed once is proposed again, to the last digit."""

from __future__ import annotations

import pytest

from experiments.errors import LedgerError
from experiments.ledger import Ledger
from experiments.proposed import standing
from optimiser import reproducing


def changed_since(folder, write_raw, run):
    """Go on working: results, an edit, an undo, a plan with another range and another unit."""
    with Ledger.open(folder) as ledger:
        ledger.printed(9, mass=2.0)
        ledger.measure(9, session="june", values={"upper_limit": 8.0, "loss": 3.0})
        ledger.set_aside(2, why="lent")
        ledger.printed(10)
        ledger.undo()
    plan = (folder / "experiment.toml").read_text(encoding="utf-8")
    plan = plan.replace("high = 1.2", "high = 1.5").replace('unit = "kHz"', 'unit = "Hz"')
    plan = plan.replace("poor = 4.0", "poor = 4000").replace("good = 14.0", "good = 14000")
    (folder / "experiment.toml").write_text(plan, encoding="utf-8")
    assert run("recompute", "--in", folder).status == 0


def test_a_proposal_comes_out_the_same_to_the_last_digit(run, folder, write_raw):
    assert run("next", "--count", 2, "--seed", 5, "--in", folder).status == 0
    changed_since(folder, write_raw, run)
    told = run("again", 1, "--json", "--in", folder)
    assert told.status == 0, told.err
    answer = told.json
    assert answer["same"]
    assert answer["differences"] == answer["versions"] == answer["data"] == []
    assert answer["numbers"] == 2 * (3 * 3 + 3)
    assert answer["cones"] == [9, 10]
    assert answer["notes"] == ["The plan has changed since; this is the one of that day."]
    with Ledger.open(folder) as ledger:
        recorded = [ledger.cone(number).reason for number in (9, 10)]
        assert len(ledger.cones()) == 10
    assert [pick["why"] for pick in answer["picks"]] == recorded
    said = " ".join(run("again", 1, "--in", folder).out.split())
    assert "(cones 9, 10, seed 5) comes out the same to the last digit: 24 numbers" in said


def test_what_was_asked_for_is_kept(run, folder, tmp_path):
    listed = tmp_path / "list.csv"
    listed.write_text(
        "process,wall,cure_time\nresin,0.4,7.5\nresin,0.5,8\nfilament,0.7,\n", encoding="utf-8"
    )
    asked = ("--from", listed, "--keep", "process=resin", "--per", "minutes")
    assert run("next", *asked, "--count", 2, "--in", folder).status == 0
    listed.unlink()
    told = run("again", 1, "--json", "--in", folder)
    assert told.status == 0, told.err
    assert told.json["same"]
    assert told.json["recorded"]["asked"] == {
        "count": 2,
        "keep": {"process": "resin"},
        "per": "minutes",
    }


def test_an_act_between_looking_and_recording_is_walked_past(run, folder):
    with Ledger.open(folder) as ledger:
        data = ledger.data_digest()
    assert run("next", "--seed", 5, "--in", folder).status == 0
    first = run("again", 1, "--json", "--in", folder).json
    assert run("undo", "--in", folder).status == 0
    with Ledger.open(folder) as ledger:
        ledger.set_aside(3, why="somebody else was quicker")
        (settings,) = [pick["settings"] for pick in first["picks"]]
        kept = ("seed", "plan", "versions", "kinds")
        proposal = {name: first["recorded"][name] for name in kept} | {
            "data": data,
            "asked": {"count": 1},
        }
        why = first["picks"][0]["why"]
        ledger.plan_cones([settings], reason=[why], proposal=proposal)
    told = run("again", 1, "--json", "--in", folder)
    assert told.status == 0, told.err
    told = told.json
    assert told["same"]
    assert told["data"] == []
    assert told["numbers"] == 0  # such a proposal kept none


def test_other_versions_and_other_data_are_told(run, folder, monkeypatch):
    assert run("next", "--seed", 5, "--in", folder).status == 0
    with Ledger.open(folder) as ledger:
        one = ledger.proposals()[0]
        stood = ledger.standing(one)
    less = type(stood)(stood.plan, stood.trials.iloc[1:], "0" * 64, stood.recipes)
    found = reproducing.reproduce(one, less)
    assert found.differences
    assert found.data == [
        f"digest of the data {one.details['data'][:12]}… then, 000000000000… as rebuilt"
    ]
    monkeypatch.setattr(reproducing, "versions", lambda: {"python": "9.9", "numpy": "9.0"})
    told = run("again", 1, "--json", "--in", folder).json
    assert told["same"]
    now = one.details["versions"]
    assert f"numpy {now['numpy']} then, 9.0 now" in told["versions"]
    shown = run("again", 1, "--in", folder).out
    assert "What differs in versions" in shown


def test_a_number_that_differs_in_its_last_digit_is_told(run, folder):
    assert run("next", "--seed", 5, "--in", folder).status == 0
    with Ledger.open(folder) as ledger:
        one = ledger.proposals()[0]
        stood = ledger.standing(one)
    mean = one.details["numbers"][0]["score"][0]
    one.details["numbers"][0]["score"][0] = mean * (1 + 3e-16)
    found = reproducing.reproduce(one, stood)
    assert found.differences == [
        f"recipe 1, score (mean): {mean * (1 + 3e-16)!r} then, {mean!r} now"
    ]


def test_a_proposal_that_learned_from_an_earlier_experiment(run, folder, fresh):
    assert run("next", "--learn-from", folder, "--in", fresh).status == 0
    told = run("again", 1, "--in", fresh)
    assert told.status == 2
    assert "a proposal that learned from 'window-sill radio'" in told.err
    told = run("again", 1, "--learn-from", folder, "--json", "--in", fresh)
    assert told.json["same"]
    assert told.json["notes"] == []


def test_the_list_and_numbers_that_are_none(run, fresh):
    assert run("again", "--list", "--in", fresh).out == "no proposal is recorded\n"
    assert "there is none" in run("again", 1, "--in", fresh).err
    assert run("next", "--count", 2, "--in", fresh).status == 0
    assert run("next", "--in", fresh).status == 0
    assert run("undo", "--in", fresh).status == 0
    assert run("next", "--in", fresh).status == 0
    shown = run("again", "--list", "--in", fresh).out
    assert [line.split()[0] for line in shown.splitlines()[1:]] == ["1", "2"]
    listed = run("again", "--list", "--json", "--in", fresh).json["proposals"]
    assert [one["cones"] for one in listed] == [[1, 2], [4]]
    assert {"seed", "plan", "data", "versions"} <= set(listed[0]["recorded"])
    told = run("again", 7, "--in", fresh)
    assert told.status == 2
    assert "expected the number of a proposal (1, 2)" in told.err
    assert run("again", 2, "--json", "--in", fresh).json["same"]


@pytest.mark.parametrize("lost", ["history", "plans"])
def test_a_store_that_lost_what_it_stood_on_is_refused(run, fresh, lost, monkeypatch):
    assert run("next", "--in", fresh).status == 0
    with Ledger.open(fresh) as ledger:
        one = ledger.proposals()[0]
        with ledger._store.trying() as writer:
            # Only a damaged store comes to this: rows of the archive cannot be deleted.
            writer.connection.execute(f"DROP TRIGGER {lost}_no_delete")
            writer.connection.execute("PRAGMA defer_foreign_keys = ON")
            writer.connection.execute(f"DELETE FROM {lost}")
            with pytest.raises(LedgerError, match="proposal 1: found no"):
                standing(writer, one)
