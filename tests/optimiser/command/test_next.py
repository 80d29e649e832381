"""The verb `next`: proposals, cards, provenance."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger
from tests.pages import Page


def test_the_first_plate(run, fresh):
    told = run("next", "--count", 3, "--in", fresh)
    assert told.status == 0
    for number in (1, 2, 3):
        assert f"Cone {number}, plate 1" in told.out
        card = fresh / "cards" / f"cone_{number:02d}.html"
        assert str(card) in told.out
        assert Page(card.read_text(encoding="utf-8")).fetched == []
    assert "Nothing can be foretold yet" in told.out
    with Ledger.open(fresh) as ledger:
        cones = ledger.cones()
    assert [cone.status for cone in cones] == ["planned"] * 3
    assert len({str(cone.settings) for cone in cones}) == 3


def test_a_proposal_from_measured_cones(run, folder):
    told = run("next", "--json", "--seed", 5, "--in", folder)
    assert told.status == 0
    answer = told.json
    (pick,) = answer["picks"]
    assert pick["cone"] == 9
    assert answer["cones"] == 6
    expected = pick["expected"]["upper_limit"]
    assert expected["low"] < expected["mean"] < expected["high"]
    assert pick["score"]["low"] < pick["score"]["mean"] < pick["score"]["high"]
    assert 0 <= pick["exploration"] <= 1
    assert {check["metric"] for check in answer["calibration"]} == {"upper_limit", "loss"}
    with Ledger.open(folder) as ledger:
        cone = ledger.cone(9)
        assert cone.settings == pick["settings"]
        assert cone.reason == pick["why"]
        assert cone.proposal["seed"] == 5
        assert cone.proposal["plan"] == ledger.plan.digest
        assert len(cone.proposal["data"]) == 64
        assert {"coneloop", "numpy", "scikit-learn"} <= set(cone.proposal["versions"])


def test_what_is_printed_has_units_intervals_and_calibration(run, folder):
    told = run("next", "--dry-run", "--in", folder)
    assert told.status == 0
    said = told.out.replace("\xa0", " ")
    assert " mm" in said
    assert " kHz (" in said
    assert "effort by the plan: " in said
    assert "Stands on 6 measured cones" in said
    assert "nothing was recorded" in said
    assert max(map(len, told.out.splitlines())) <= 80
    assert not list((folder / "cards").iterdir())
    with Ledger.open(folder) as ledger:
        assert len(ledger.cones()) == 8


def test_the_same_seed_proposes_the_same(run, folder):
    first, second = (run("next", "--dry-run", "--json", "--in", folder).json for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    "text",
    [
        "process,wall,cure_time\nresin,0.5,12.5\nfilament,0.8,\n",
        "cure_time;process;wall;remark\n12,5;resin;0,5;a\n;filament;0,8;b\n",
    ],
)
def test_a_shortlist_with_points_or_commas(run, folder, tmp_path, text):
    file = tmp_path / "shortlist.csv"
    file.write_text(text, encoding="utf-8")
    told = run("next", "--from", file, "--dry-run", "--json", "--in", folder)
    assert told.status == 0
    (pick,) = told.json["picks"]
    assert pick["settings"] in (
        {"process": "resin", "wall": 0.5, "cure_time": 12.5},
        {"process": "filament", "wall": 0.8},
    )


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        ("", "an empty file"),
        ("process,wall,cure_time\n", "no recipe"),
        ("process,wall\nresin,0.5\n", "cure_time"),
        ("process,wall,cure_time\nresin,thick,1\nwood,0.5,\n", "thick"),
    ],
)
def test_a_shortlist_that_cannot_be_read_names_every_problem(run, folder, tmp_path, text, wanted):
    file = tmp_path / "shortlist.csv"
    file.write_text(text, encoding="utf-8")
    told = run("next", "--from", file, "--in", folder)
    assert told.status == 2
    assert wanted in told.err
    if "wood" in text:
        assert "wood" in told.err
    with Ledger.open(folder) as ledger:
        assert len(ledger.cones()) == 8


def test_what_cannot_be_printed_is_refused_alike_by_a_dry_run(run, folder, tmp_path):
    file = tmp_path / "shortlist.csv"
    file.write_text("process,wall,cure_time\nresin,0.5,12\nresin,0.55,12\n", encoding="utf-8")
    real = run("next", "--from", file, "--in", folder)
    dry = run("next", "--from", file, "--dry-run", "--in", folder)
    assert real.status == dry.status == 2
    assert real.err == dry.err
    assert "shortlist.csv, line 3, column wall" in real.err


TINY = """
name = "tiny"
[variables.layer]
kind = "ordered"
levels = [0.1, 0.2]
unit = "mm"
per = "plate"
[variables.process]
kind = "choice"
levels = ["resin", "filament"]
[metrics.loss]
from = "hand"
goal = "minimise"
poor = 10
good = 0
"""


@pytest.fixture
def tiny(tmp_path):
    folder = tmp_path / "tiny"
    Ledger.create(folder, TINY).close()
    return folder


def said(told) -> str:
    return " ".join(told.out.replace("\xa0", " ").split())


def test_a_plate_that_holds_fewer_says_why(run, tiny):
    told = run("next", "--count", 3, "--in", tiny)
    assert told.status == 0
    assert "2 of 3 cones: no other recipe shares this plate's layer; ask again" in said(told)
    assert "spread over the recipes; cones of one plate share layer" in said(told)
    assert " mm, which this plate's cones share: far from the 1 recipe" in said(told)
    told = run("next", "--count", 2, "--json", "--in", tiny)
    assert len(told.json["picks"]) == 2
    assert not any("of 2 cones" in note for note in told.json["notes"])


def test_a_recipe_that_is_all_that_is_left_is_a_repeat_and_says_of_which(run, tiny):
    for _ in range(2):
        run("next", "--count", 2, "--in", tiny)
    told = run("next", "--in", tiny)
    assert "Every recipe that can be printed has its cone already, so this one repeats cone " in (
        said(told)
    )
    assert "far from" not in told.out


def test_a_list_is_called_a_list(run, tiny):
    file = tiny / "list.csv"
    file.write_text("layer,process\n0.1,resin\n0.2,resin\n", encoding="utf-8")
    told = run("next", "--count", 2, "--from", file, "--json", "--in", tiny)
    (pick,) = told.json["picks"]
    assert "spread over the recipes of the list" in pick["why"]
    assert told.json["notes"][0].startswith("1 of 2 cones: no other recipe of the list shares")
    file.write_text("layer,process\n0.1,resin\n", encoding="utf-8")
    run("next", "--from", file, "--in", tiny)
    told = run("next", "--from", file, "--count", 2, "--in", tiny)
    assert "1 of 2 cones: no other recipe of the list is left to print." in said(told)
    assert "Every recipe of the list has its cone already" in said(told)


def test_settings_to_keep_and_gain_by_the_minute(run, folder):
    told = run("next", "--json", "--dry-run", "--keep", "process=filament", "--in", folder)
    assert told.status == 0
    (pick,) = told.json["picks"]
    assert pick["settings"]["process"] == "filament"
    slip = run("next", "--dry-run", "--keep", "process=filamnet", "--in", folder)
    assert slip.status == 2
    assert "Did you mean 'filament'?" in slip.err
    cheap = run("next", "--json", "--dry-run", "--per", "minutes", "--in", folder)
    assert cheap.json["picks"][0]["minutes"] > 0
    assert "Chosen by its gain a minute: it takes " in cheap.json["picks"][0]["why"]
    no_formula = run("next", "--dry-run", "--per", "money", "--in", folder)
    assert no_formula.status == 2
    assert "effort.money" in no_formula.err
