"""Sides of a comparison as they are written."""

from __future__ import annotations

import pytest

from experiments.errors import LedgerError, RecipeError
from experiments.ledger import Ledger
from optimiser.sides import name_sides, read_side, unmeasured
from tests.bench_page import PLAN


@pytest.fixture
def ledger(tmp_path):
    with Ledger.create(tmp_path / "radio", PLAN) as ledger:
        ledger.add({"process": "resin", "wall": 0.4, "cure_time": 5})
        yield ledger


def test_a_side_is_a_cone_settings_or_a_cone_with_changes(ledger):
    own = {"process": "resin", "wall": 0.4, "cure_time": 5}
    assert read_side(ledger, "1", "A") == own
    assert read_side(ledger, "1; cure_time=7,5", "A") == {**own, "cure_time": "7.5"}
    assert read_side(ledger, "wall=0,5,process=resin", "A") == {"wall": "0.5", "process": "resin"}
    changed = read_side(ledger, "1,process=filament,cure_time=none", "A")
    assert changed == {"process": "filament", "wall": 0.4}


@pytest.mark.parametrize("text", ["", "resin", "wall=", "=3", "wall=1,wall=2", "1,filament"])
def test_what_is_no_side_is_refused_by_its_name(ledger, text):
    with pytest.raises(RecipeError, match="recipe B"):
        read_side(ledger, text, "B")


def test_an_unknown_cone_is_refused(ledger):
    with pytest.raises(LedgerError, match="9"):
        read_side(ledger, "9", "A")


def test_sides_are_named_as_they_were_given(ledger):
    texts = ("1,cure_time=20", "process=filament")
    sides = tuple(read_side(ledger, text, "A") for text in texts)
    assert name_sides(ledger.plan, texts, sides)[0] == "cone 1 with cure time 20"
    assert "filament" in name_sides(ledger.plan, texts, sides)[1]


def test_cones_that_were_never_measured_are_named(ledger):
    ledger.add({"process": "filament", "wall": 0.4}, status="failed", why="warped")
    said = unmeasured(ledger, ("2", "1,wall=0.5"))
    assert said == [
        "Cone 2 was not measured (failed): its recipe is compared.",
        "Cone 1 was not measured (printed): its recipe is compared.",
    ]
    assert unmeasured(ledger, ("process=resin", "wall=0.4")) == []
    ledger.measure(1, session="may", values={"loss": 2.0})
    assert unmeasured(ledger, ("1", "1")) == []
    ledger.set_aside(1, why="cracked")
    assert unmeasured(ledger, ("1", "wall=0.4"))[0].startswith("Cone 1 was set aside, what it")
