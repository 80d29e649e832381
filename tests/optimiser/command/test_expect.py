"""Verb expect: recipe, cone, changes to a cone, little to go by, wrong input."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger
from experiments.records import StoredCurve


@pytest.fixture
def heard(folder, write_raw, tmp_path):
    """The six cones heard again, with a response file each."""
    with Ledger.open(folder) as ledger:
        for row in ledger.table().itertuples():
            if row.status != "measured":
                continue
            raw = write_raw(tmp_path / f"{row.cone}.txt", 1000 * row.upper_limit).read_bytes()
            ledger.measure(
                row.cone,
                session="june",
                values={"upper_limit": row.upper_limit, "loss": row.loss},
                curves=[StoredCurve(f"{row.cone}.txt", "response", raw)],
            )
    return folder


RECIPE = ("--set", "process=resin", "--set", "wall=0.7", "--set", "cure_time=12,5")


def test_a_recipe_gives_metrics_curves_and_words(run, heard, tmp_path):
    png, svg = tmp_path / "expect.png", tmp_path / "expect.svg"
    told = run("expect", *RECIPE, "--calibration", "--png", png, "--svg", svg, "--in", heard)
    assert told.status == 0
    assert max(map(len, told.out.splitlines())) <= 80
    said = " ".join(told.out.split())
    assert said.startswith("process resin, wall 0.7 mm, cure time 12.5 min")
    assert "Expected metrics, 90 % intervals of a new measurement" in said
    assert "Foretold curves" in said
    assert "Each cone's curves foretold without it" in said
    assert "distortion curves" not in said  # no metric of the plan asks for any
    assert "nan" not in said.lower()
    assert png.read_bytes().startswith(b"\x89PNG")
    assert "Expected score" in svg.read_text()


def test_a_cone_alone_is_left_out(run, heard):
    told = run("expect", 3, "--json", "--in", heard)
    assert told.status == 0
    assert (told.json["cone"], told.json["cones"]) == ("3", 5)
    band = told.json["curves"]["response"]
    assert len(band["x"]) == len(band["low"]) == len(band["measured"])
    assert told.json["text"].startswith("Cone 3, foretold without itself:")


def test_a_cone_with_changes_is_a_recipe(run, folder):
    given = ("--set", "process=filament", "--set", "cure_time=none", "--json")
    found = run("expect", 1, *given, "--in", folder).json
    assert found["cone"] is None
    assert found["settings"] == {"process": "filament", "wall": 0.3}


def test_without_cones_or_curves_it_says_so(run, fresh, folder):
    for place in (fresh, folder):
        told = run("expect", *RECIPE, "--in", place)
        assert told.status == 0
        assert "Of whole curves nothing can be told yet." in " ".join(told.out.split())


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        ((), "expected a cone or a recipe"),
        (("--set", "process=resin"), "wall"),
        (("--set", "hight=3"), "hight"),
        ((77,), "77"),
    ],
)
def test_wrong_input_is_one_clear_error(run, heard, words, wanted):
    told = run("expect", *words, "--in", heard)
    assert told.status == 2
    assert told.out == ""
    assert wanted in told.err
