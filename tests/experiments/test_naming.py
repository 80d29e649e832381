"""Names and labels: one meaning or none."""

from __future__ import annotations

import pytest

from experiments.naming import aliases, meant
from experiments.plan import Plan

PLAN = Plan.from_dict(
    {
        "name": "p",
        "variables": {
            "layer_height": {"kind": "continuous", "low": 0.1, "high": 0.3, "label": "Layer"},
            "one": {"kind": "integer", "low": 0, "high": 2, "label": "same"},
            "two": {"kind": "integer", "low": 0, "high": 2, "label": "same"},
            "coat": {"kind": "integer", "low": 0, "high": 2, "label": "one"},
        },
        "metrics": {"m": {"from": "hand", "goal": "maximise", "label": "loudness"}},
    }
)


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("layer_height", "layer_height"),
        ("layer", "layer_height"),
        ("Layer (mm)", "layer_height"),
        ("Layer-Height", "layer_height"),
        ("same", "same"),  # two variables have that label
        ("one", "one"),  # a name goes before a label
        ("lair", "lair"),
    ],
)
def test_what_is_meant(text, name):
    assert meant(text, PLAN.variables) == name


def test_variables_and_metrics_share_one_sheet():
    known = aliases({**PLAN.variables, **PLAN.metrics}, ["note"])
    assert (known["loudness"], known["note"], known["layer"]) == ("m", "note", "layer_height")
    assert "same" not in known
