"""Plans that the optimiser's tests share."""

from __future__ import annotations

import pytest

from experiments.plan import Plan


@pytest.fixture(scope="session")
def mixed_plan() -> Plan:
    """Two processes with a knob each of their own, shared knobs, two desirabilities."""
    return Plan.from_dict(
        {
            "name": "mixed",
            "variables": {
                "process": {"kind": "choice", "levels": ["resin", "filament"]},
                "cure_time": {
                    "kind": "continuous",
                    "low": 0,
                    "high": 40,
                    "step": 2,
                    "unit": "min",
                    "only_when": {"process": ["resin"]},
                },
                "nozzle": {
                    "kind": "integer",
                    "low": 190,
                    "high": 250,
                    "step": 10,
                    "only_when": {"process": ["filament"]},
                },
                "layer": {"kind": "ordered", "levels": [0.05, 0.1, 0.2], "unit": "mm"},
                "wall": {"kind": "continuous", "low": 0.4, "high": 1.2, "step": 0.1, "unit": "mm"},
            },
            "rules": {"wall_holds": "wall >= 3 * layer"},
            "metrics": {
                "limit": {
                    "from": "hand", "unit": "kHz", "goal": "maximise", "poor": 4, "good": 14,
                },
                "loss": {
                    "from": "hand", "unit": "%", "goal": "minimise", "poor": 5, "good": 0.5,
                },
                "tone": {"from": "hand", "unit": "dB", "goal": "watch"},
            },
        }
    )  # fmt: skip
