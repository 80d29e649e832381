"""What the store holds beyond the plan: told, and kept."""

from __future__ import annotations

import pytest


@pytest.fixture
def measured(ledger, resin, filament):
    for cone, recipe in enumerate((resin, filament), start=1):
        ledger.add(recipe)
        ledger.measure(cone, session="a", values={"upper_limit": 9.0 + cone, "mass": 2.0})
    return ledger


def rewrite(ledger, *pairs):
    path = ledger.folder / "experiment.toml"
    text = path.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text)


def test_cones_beyond_a_narrower_range_are_told_and_stay(measured, resin, filament):
    measured.set_aside(measured.add({**filament, "wall": 1.0}), why="lent")
    rewrite(measured, ("low = 0.2\nhigh = 1.0", "low = 0.5\nhigh = 0.8"))
    assert measured.left_over() == [
        "wall of cone 1 lies outside 0.5 to 0.8: the answers learn from that, nothing outside is "
        "proposed"
    ]
    assert measured.table()["wall"].tolist() == [resin["wall"], filament["wall"], 1.0]
    assert measured.check() == []
