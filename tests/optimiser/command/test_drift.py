"""Verb drift: text, JSON, pictures, with and without a reference cone."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger

REFERENCE = "\n[sessions]\nreference_cone = 1\n"


@pytest.fixture
def visited(folder):
    """Cone 1 is the reference and was heard in seven sessions; the last one is off."""
    path = folder / "experiment.toml"
    path.write_text(path.read_text(encoding="utf-8") + REFERENCE, encoding="utf-8")
    with Ledger.open(folder) as ledger:
        for place, limit in enumerate([9.2, 9.15, 9.18, 9.22, 9.17, 12.0]):
            values = {"upper_limit": limit, "loss": 4.9 + 0.01 * (place % 2)}
            ledger.measure(1, session=f"june {place + 1}", values=values, age_days=10.0 * place)
    return folder


def test_verdicts_limits_and_offsets(run, visited):
    told = run("drift", "--in", visited)
    assert told.status == 0
    assert len(told.err.splitlines()) == 1
    assert max(map(len, told.out.splitlines())) <= 80
    lines = [" ".join(line.split()) for line in told.out.splitlines()]
    assert any(line.startswith("june 1 steady") for line in lines)
    assert any(line.startswith("june 6 shifted upper limit +") for line in lines)
    assert "check" in told.out
    assert "Offsets of the sessions" in told.out
    assert "By reference cone 1, heard in 7 sessions, the rig is shifted in june 6." in told.out
    assert "50 days" in told.out
    assert "nan" not in told.out.lower()


def test_json_is_all_that_stdout_holds(run, visited, tmp_path):
    png, svg = tmp_path / "drift.png", tmp_path / "drift.svg"
    told = run("drift", "--json", "--png", png, "--svg", svg, "--in", visited)
    assert told.status == 0
    assert told.json["reference"] == 1
    assert [each["verdict"] for each in told.json["sittings"]].count("shifted") == 1
    assert told.json["sittings"][0]["session"] == "may"
    chart = told.json["charts"][0]
    assert len(chart["values"]) == len(chart["sessions"]) == 7
    assert chart["low"] < chart["centre"] < chart["high"]
    offset = told.json["offsets"][-2]
    assert set(offset["offset"]) == {"mean", "low", "high", "cones"}
    off = {each["session"] for each in told.json["offsets"] if each["told"]}
    for sitting in told.json["sittings"]:
        assert (sitting["session"] in off) <= (sitting["verdict"] in ("offset", "shifted"))
    assert png.read_bytes().startswith(b"\x89PNG")
    assert "By reference cone 1" in svg.read_text(encoding="utf-8")


def test_without_a_reference_cone_it_says_how_to_set_it(run, folder, tmp_path):
    told = run("drift", "--png", tmp_path / "none.png", "--in", folder)
    assert told.status == 0
    assert "reference_cone = 1" in " ".join(told.out.split())
    assert (tmp_path / "none.png").exists()


def test_an_experiment_without_a_cone(run, fresh):
    told = run("drift", "--in", fresh)
    assert told.status == 0
    assert "annot" in told.out
    assert run("drift", "--json", "--in", fresh).json["sittings"] == []


def test_few_sessions(run, folder):
    path = folder / "experiment.toml"
    path.write_text(path.read_text(encoding="utf-8") + REFERENCE, encoding="utf-8")
    with Ledger.open(folder) as ledger:
        ledger.measure(1, session="june", values={"upper_limit": 9.1, "loss": 4.9})
    told = run("drift", "--in", folder)
    assert told.status == 0
    assert "3 more needed" in told.out
    assert "too few" in told.out
    assert "limits" in told.out


def test_a_folder_that_is_none(run, tmp_path):
    told = run("drift", "--in", tmp_path / "nowhere")
    assert told.status == 2
    assert told.err.startswith("error: ")
