"""Verb ageing: text, JSON, pictures, scores after a time, and little to go by."""

from __future__ import annotations

import numpy as np
import pytest

from experiments.ledger import Ledger


@pytest.fixture
def shelf(folder):
    """Four cones heard again after 100 and 300 hours of light, cone 6 in the dark."""
    rng = np.random.default_rng(2)
    with Ledger.open(folder) as ledger:
        first = {
            row.cone: (row.upper_limit, row.loss)
            for row in ledger.table().itertuples()
            if row.status == "measured"
        }
        for session, hours in (("june", 100.0), ("july", 300.0)):
            for cone in (1, 2, 3, 4, 6):
                light = hours if cone != 6 else 0.0
                limit, loss = first[cone]
                values = {
                    "upper_limit": limit * np.exp(-0.0005 * light + 0.003 * rng.normal()),
                    "loss": loss * np.exp(0.02 * rng.normal()),
                }
                ledger.measure(
                    cone, session=session, values=values, light_hours=light, age_days=hours / 4
                )
    return folder


def test_drift_law_crossings_and_next(run, shelf):
    told = run("ageing", "--in", shelf)
    assert told.status == 0
    assert len(told.err.splitlines()) == 1
    assert max(map(len, told.out.splitlines())) <= 80
    said = " ".join(told.out.split())
    assert "upper limit drifts down -" in said
    assert "after 300 h" in said
    assert "Law of the drift" in said
    assert "When a limit is crossed" in said
    assert "4 cones, 12 measurements" in said
    assert "Measure cone" in said
    assert "nan" not in said.lower()


def test_scores_after_a_time(run, shelf):
    said = " ".join(run("ageing", "--at", 250, "--in", shelf).out.split())
    assert "Score of the kept cones, 90 % intervals" in said
    assert "after 250 h" in said
    far = run("ageing", "--at", "700,5", "--in", shelf)
    assert "700.5 h lies beyond the longest time seen, 300 h" in " ".join(far.out.split())


def test_json_is_all_that_stdout_holds(run, shelf, tmp_path):
    png, svg = tmp_path / "ageing.png", tmp_path / "ageing.svg"
    told = run("ageing", "--at", 250, "--json", "--png", png, "--svg", svg, "--in", shelf)
    assert told.status == 0
    assert told.json["by"] == "light_hours"
    limit = told.json["metrics"][0]
    assert limit["verdict"] == "drifts down"
    assert limit["whole"]["low"] < -13.9 < limit["whole"]["high"]
    assert limit["whole"]["cones"] == 4
    assert set(told.json["scores"][0]["then"]) == {"mean", "low", "high", "cones"}
    assert png.read_bytes().startswith(b"\x89PNG")
    assert "drifts down" in svg.read_text(encoding="utf-8")


def test_days_without_an_age_say_so(run, shelf):
    said = " ".join(run("ageing", "--by", "days", "--in", shelf).out.split())
    assert "6 measurements without age left out" in said
    # What is left are two ages, each in a session of its own.
    assert "a moved rig looks like ageing" in said


def test_a_plan_with_an_age_judges_cones_at_it(run, shelf):
    young = run("next", "--dry-run", "--json", "--in", shelf).json
    plan = shelf / "experiment.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + "\n[ageing]\nlight_hours = 300\n")
    told = run("next", "--dry-run", "--in", shelf)
    said = " ".join(told.out.split())
    assert told.status == 0
    assert (
        "Judged as expected after 300 h of light by 4 kept cones: young values move, upper" in said
    )
    assert "loss by" in said
    old = run("next", "--dry-run", "--json", "--in", shelf).json
    names = [each["picks"][0]["expected"]["upper_limit"]["mean"] for each in (young, old)]
    assert names[1] < names[0]
    assert "after 300 h" in run("ageing", "--in", shelf).out
    assert "Judged as expected" in " ".join(run("optimum", "wall", "--in", shelf).out.split())


def test_a_plan_with_an_age_and_no_kept_cone_says_so(run, folder):
    plan = folder / "experiment.toml"
    plan.write_text(plan.read_text(encoding="utf-8") + "\n[ageing]\nage_days = 300\n")
    said = " ".join(run("next", "--dry-run", "--in", folder).out.split())
    assert "cannot be told yet, so judged as measured and not after 300 days of age" in said


def test_a_climate_that_was_not_recorded(run, shelf):
    told = run("ageing", "--by", "humidity", "--in", shelf)
    assert told.status == 0
    assert "humidity was not recorded; give --humidity" in " ".join(told.out.split())


def test_what_temperature_does(run, shelf):
    with Ledger.open(shelf) as ledger:
        for place, warmth in enumerate((15.0, 20.0, 24.0, 30.0)):
            for cone in (1, 2, 3):
                ledger.measure(
                    cone,
                    session=f"room {place}",
                    values={"upper_limit": 5.0 * np.exp(0.01 * warmth + 1e-3 * (cone - place))},
                    temperature_c=warmth,
                )
    told = run("ageing", "--by", "temperature", "--in", shelf)
    said = " ".join(told.out.split())
    assert "Dependence on temperature of the kept cones" in said
    assert "upper limit rises" in said
    assert "°C of temperature" in said
    assert run("ageing", "--by", "temperature", "--json", "--in", shelf).json["unit"] == "°C"


def test_cones_heard_once(run, folder, tmp_path):
    told = run("ageing", "--at", 100, "--png", tmp_path / "none.png", "--in", folder)
    assert told.status == 0
    assert "Cannot tell yet how cones age: no cone was heard twice" in " ".join(told.out.split())
    assert (tmp_path / "none.png").exists()


def test_an_experiment_without_a_cone(run, fresh):
    told = run("ageing", "--in", fresh)
    assert told.status == 0
    assert "nothing was measured" in " ".join(told.out.split())
    found = run("ageing", "--json", "--in", fresh).json
    assert [each["verdict"] for each in found["metrics"]] == ["cannot tell yet"] * 2
    assert found["visits"] == []


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["--by", "moonlight"], "'light', 'days'"),
        (["--at", "-3"], "expected a time of 0 or more"),
        (["--at", "soon"], "expected a number"),
        (["--by", "humidity", "--at", "30"], "expected light or days"),
    ],
)
def test_wrong_questions(run, folder, words, why):
    told = run("ageing", *words, "--in", folder)
    assert told.status == 2
    assert why in told.err


def test_a_folder_that_is_none(run, tmp_path):
    told = run("ageing", "--in", tmp_path / "nowhere")
    assert told.status == 2
    assert told.err.startswith("error: ")
