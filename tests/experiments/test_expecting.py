"""An act that somebody else's change came before is refused whole."""

from __future__ import annotations

import pytest

from experiments.errors import ConflictError
from experiments.ledger import Ledger
from tests.bench_page import PLAN


@pytest.fixture
def ledger(tmp_path):
    with Ledger.create(tmp_path / "t", PLAN, who="me") as made:
        made.plan_cones([{"process": "filament", "wall": 0.7}])
        yield made


def version(ledger):
    return int(ledger.wide_table()["version"].iloc[0])


def test_an_act_on_a_cone_as_it_was_seen_passes(ledger):
    with ledger.expecting(1, version(ledger)):
        ledger.printed(1, mass=2.0)
    assert ledger.cone(1).status == "printed"


def test_an_act_after_somebody_elses_changes_nothing_and_names_the_other(ledger):
    seen = version(ledger)
    with Ledger.open(ledger.folder, who="somebody else") as other:
        other.printed(1, mass=2.0)
    with (
        pytest.raises(ConflictError, match="cone 1 printed, by somebody else"),
        ledger.expecting(1, seen),
    ):
        ledger.set_aside(1, why="lost")
    assert ledger.cone(1).status == "printed"
    ledger.set_aside(1, why="lost")  # outside the block nothing is expected


def test_undoing_brings_the_version_back(ledger):
    seen = version(ledger)
    ledger.printed(1)
    ledger.undo()
    with ledger.expecting(1, seen):
        ledger.printed(1)
