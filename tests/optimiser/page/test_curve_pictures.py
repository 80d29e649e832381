"""Curves of one cone: the plan's metrics are marked where they lie."""

from __future__ import annotations

import numpy as np

from experiments.acoustics import Distortion
from experiments.plan import Plan
from optimiser.page.curve_pictures import curve_pictures

PLAN = {
    "name": "marks",
    "variables": {"wall": {"kind": "integer", "low": 1, "high": 3}},
    "metrics": {
        "thd_peak": {
            "from": "distortion", "unit": "%", "goal": "minimise", "poor": 8, "good": 1,
            "band": [500, 2000],
        },
    },
}  # fmt: skip


def test_the_largest_distortion_of_the_metrics_band_bears_a_ring():
    frequency = np.array([200.0, 500.0, 1000.0, 2000.0, 4000.0])
    thd = np.array([9.0, 2.0, 5.0, 1.0, 7.0])  # larger outside the band
    plan = Plan.from_dict(PLAN)
    curves = {"distortion": Distortion(frequency, thd=thd)}
    shown = curve_pictures(plan, 7, curves, {"thd_peak": 5.0})["distortion"]
    ring = [each for each in shown.series if each.x.size == 1]
    assert np.allclose([[each.x[0], each.y[0]] for each in ring], [[1000.0, 5.0]])
    assert "the ring" in shown.caption
    mass = {"from": "hand", "unit": "g", "goal": "minimise"}
    bare = Plan.from_dict({**PLAN, "metrics": {"mass": mass}})
    assert "ring" not in curve_pictures(bare, 7, curves, {})["distortion"].caption
