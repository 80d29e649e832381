"""Verbs that record: each as it should go, and each refused."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger


def test_a_print_that_differed_from_its_card(run, fresh):
    assert run("next", "--in", fresh).status == 0
    with Ledger.open(fresh) as ledger:
        process = ledger.cone(1).settings["process"]
    told = run(
        "printed", 1, "--mass", "2,15", "--minutes", 64, "--set", "wall=0,55", "--in", fresh
    )
    assert told.status == 0
    assert f"cone 1 printed: process {process}, wall 0.55" in told.out
    with Ledger.open(fresh) as ledger:
        cone = ledger.cone(1)
    assert (cone.status, cone.mass, cone.minutes) == ("printed", 2.15, 64.0)
    assert cone.settings["wall"] == 0.55


def test_a_setting_that_no_longer_applies_is_none(run, fresh):
    recipe = ("--set", "process=resin", "--set", "wall=0.5", "--set", "cure_time=10")
    assert run("add", *recipe, "--status", "planned", "--in", fresh).status == 0
    told = run("printed", 1, "--set", "process=filament", "--set", "cure_time=none", "--in", fresh)
    assert told.status == 0
    with Ledger.open(fresh) as ledger:
        assert ledger.cone(1).settings == {"process": "filament", "wall": 0.5}


def test_failed_and_aside_need_a_reason(run, folder):
    assert run("failed", 8, "--in", folder).status == 2
    told = run("failed", 8, "--why", "warped", "--json", "--in", folder)
    assert told.status == 0
    assert (told.json["status"], told.json["why"]) == ("failed", "warped")
    assert run("aside", 1, "--why", "cracked later", "--in", folder).status == 0
    with Ledger.open(folder) as ledger:
        assert ledger.cone(1).status == "set aside"


def test_undo_takes_the_last_act_back(run, folder):
    assert run("failed", 8, "--why", "warped", "--in", folder).status == 0
    told = run("undo", "--in", folder)
    assert told.status == 0
    assert "undid: cone 8 failed" in told.out
    with Ledger.open(folder) as ledger:
        assert ledger.cone(8).status == "printed"


def test_nothing_to_undo_is_refused(run, fresh):
    while run("undo", "--in", fresh).status == 0:
        pass
    told = run("undo", "--in", fresh)
    assert told.status == 2
    assert told.err.startswith("error: ")


def test_add_names_every_problem_at_once(run, fresh):
    told = run("add", "--set", "process=wood", "--set", "wal=1", "--in", fresh)
    assert told.status == 2
    assert len([line for line in told.err.splitlines() if line.startswith("error: ")]) >= 2
    assert "wood" in told.err
    assert "wal" in told.err


@pytest.mark.parametrize(
    "words",
    [
        ("printed", 99),
        ("printed", 1),
        ("failed", 1, "--why", "late"),
        ("aside", 99, "--why", "x"),
        ("add", "--set", "wall"),
        ("printed", 8, "--set", "wall=thick"),
    ],
)
def test_what_cannot_be_is_refused(run, folder, words):
    told = run(*words, "--in", folder)
    assert told.status == 2
    assert told.err.startswith("error: ")


def test_history_is_newest_first(run, folder):
    told = run("history", "--limit", 2, "--json", "--in", folder)
    assert told.status == 0
    assert [row["summary"] for row in told.json] == [
        "cone 8 added as printed",
        "cone 7 added as failed",
    ]
    assert "cone 8 added as printed" in run("history", "--in", folder).out


def test_a_value_that_must_be_a_slip_is_refused(run, folder):
    words = ("--set", "process=filament", "--set", "wall=11")
    told = run("add", *words, "--in", folder)
    assert told.status == 2
    assert "wall: found 11, expected 0.3 to 1.2 mm" in told.err
    with Ledger.open(folder) as ledger:
        assert len(ledger.cones()) == 8


def test_odd_values_are_recorded_and_remarked_upon(run, folder):
    plan = folder / "experiment.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("[effort]", '[rules]\nthick = "wall >= 0.4"\n\n[effort]'))
    words = ("--set", "process=filament", "--set", "wall=0.2", "--mass", 2300)
    told = run("add", *words, "--json", "--in", folder)
    assert told.status == 0
    assert told.json["mass"] == 2300
    assert "wall 0.2 lies outside the plan's 0.3 to 1.2 mm" in told.err
    assert "the rule thick (wall >= 0.4) does not hold" in told.err
    assert "mass 2300 g: the other 6 cones had 2 g in the middle" in told.err
    assert "coneloop undo" in told.err
    quiet = run(
        "add", "--set", "process=filament", "--set", "wall=0.5", "--mass", 2.5, "--in", folder
    )
    assert quiet.err == ""


def test_a_variable_may_be_called_by_its_label(run, folder):
    plan = folder / "experiment.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("low = 0.3", 'label = "thickness"\nlow = 0.3'), encoding="utf-8")
    words = ("--set", "process=filament", "--set", "Thickness=0.6", "--status", "planned")
    assert run("add", *words, "--in", folder).status == 0
    assert run("printed", 9, "--set", "thickness=0.65", "--in", folder).status == 0
    with Ledger.open(folder) as ledger:
        assert ledger.cone(9).settings == {"process": "filament", "wall": 0.65}
    twice = run("add", *words, "--set", "wall=0.7", "--in", folder)
    assert twice.status == 2
    assert "wall is given twice" in twice.err
    told = run("measure", 9, "--session", "june", "--value", "Upper limit=9", "--in", folder)
    assert told.status == 0
    with Ledger.open(folder) as ledger:
        assert ledger.measurements(9)[0].values["upper_limit"] == 9.0
