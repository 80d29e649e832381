"""Verb recommend: text, JSON, pictures, tolerances, and little to go by."""

from __future__ import annotations

from experiments.ledger import Ledger


def test_recipe_rivals_and_confirmation_are_told(run, folder, tmp_path):
    png = tmp_path / "recipe.png"
    told = run("recommend", "--png", png, "--in", folder)
    assert told.status == 0
    assert len(told.err.splitlines()) == 2  # progress, and where the picture went
    assert max(map(len, told.out.splitlines())) <= 80
    said = " ".join(told.out.split())
    for each in (
        "The recipe for production", "Beside its rivals", "Its confirmation run",
        "Put into production: process", "within 5 % of the best recipe fit", "To confirm it print",
        "Stands on 6 measured cones", "the printer counts as exact",
    ):  # fmt: skip
        assert each in said
    assert "nan" not in said.lower().split()
    assert png.read_bytes().startswith(b"\x89PNG")


def test_json_holds_all_of_it_and_the_plan_s_tolerance_counts(run, folder, tmp_path):
    plan = folder / "experiment.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("step = 0.1", "step = 0.1\ntolerance = 0.08"), encoding="utf-8")
    told = run("recommend", "--json", "--svg", tmp_path / "recipe.svg", "--in", folder)
    assert told.status == 0
    answer = told.json
    assert {"recipe", "others", "confirmation", "text", "notes", "cones"} <= set(answer)
    assert answer["recipe"]["role"] == "recommended"
    assert answer["recipe"]["made"] != answer["recipe"]["exact"]
    assert "within the printer's tolerance" in answer["text"]
    assert answer["confirmation"]["cones"] >= 3
    assert {"score", "passes"} == set(answer["confirmation"]["curve"][0])


def test_a_wrong_tolerance_is_refused_with_its_place(run, folder):
    plan = folder / "experiment.toml"
    text = plan.read_text(encoding="utf-8")
    plan.write_text(text.replace("step = 0.1", "step = 0.1\ntolerance = -1"), encoding="utf-8")
    told = run("recommend", "--in", folder)
    assert told.status == 2
    assert "variables.wall.tolerance" in told.err


def test_without_cones_it_cannot_tell_yet(run, fresh, tmp_path):
    told = run("recommend", "--png", tmp_path / "none.png", "--in", fresh)
    assert told.status == 0
    assert "Cannot tell yet which recipe to put into production: 0 measured cones" in " ".join(
        told.out.split()
    )
    with Ledger.open(fresh) as ledger:
        assert len(ledger.table()) == 0  # nothing was recorded
