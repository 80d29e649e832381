"""Metrics read from curves are those that the files give."""

from __future__ import annotations

import math

import numpy as np
import pytest

from demo_trials import rig, truth
from demo_trials.physics import build
from experiments.acoustics import Impulse
from experiments.acoustics.decay import decay
from experiments.plan import Metric
from optimiser.curve_metrics import agreements, read_metric
from optimiser.curve_readings import curve_lines
from optimiser.records.estimates import UNTOLD, Estimate
from optimiser.records.expectations import CurveBand
from tests.curve_workshops import demo_reading, demo_recipes


@pytest.fixture(scope="module")
def cone():
    return build(demo_recipes(1, seed=3)[0])


@pytest.fixture(scope="module")
def lines(cone):
    return {one.name: (one.x, one.y) for one in demo_reading(rig.clean(cone), 0)}


def test_the_plan_s_metrics_are_read_as_from_files(cone, lines):
    known = truth.true_metrics(cone)
    for name in ("upper_limit", "deviation", "level", "thd_peak"):
        assert read_metric(truth.plan().metrics[name], lines) == pytest.approx(known[name])
    assert read_metric(truth.plan().metrics["breakup"], lines) == pytest.approx(
        known["breakup"], rel=0.03
    )


def test_the_decay_is_that_of_the_impulse(lines):
    rate = 48000
    time = np.arange(4800) / rate
    samples = np.exp(-time / 0.001) * np.sin(2 * np.pi * 5000 * time)
    wanted = decay(Impulse(samples, rate)).seconds
    found = curve_lines({"impulse": Impulse(samples, rate)})
    metric = Metric("decay", "impulse", "decay_ms", unit="ms")
    assert read_metric(metric, found) == pytest.approx(1000 * wanted, abs=0.01)
    x = found["decay"][0]
    assert math.isnan(read_metric(metric, {"decay": (x[:20], np.zeros(20))}))


def test_what_no_curve_carries_is_not_read(lines):
    assert math.isnan(read_metric(truth.plan().metrics["mass"], lines))
    assert math.isnan(read_metric(truth.plan().metrics["upper_limit"], {}))
    of_impulse = Metric("level", "impulse", "level_db", unit="dB")
    assert math.isnan(read_metric(of_impulse, lines))
    beyond = Metric("level", "response", "level_db", {"band": (30000.0, 40000.0)}, unit="dB")
    assert math.isnan(read_metric(beyond, lines))


def test_agreement_is_being_inside_the_interval(lines):
    plan = truth.plan()
    x, y = lines["response"]
    band = CurveBand("response", x, "dB", y, y - 1, y + 1, y)
    known = read_metric(plan.metrics["level"], lines)
    expected = dict.fromkeys(plan.metrics, UNTOLD)
    expected["level"] = Estimate(known, known - 1, known + 1, 9)
    expected["deviation"] = Estimate(99.0, 98.0, 100.0, 9)
    found = {one.metric: one for one in agreements(plan, expected, {"response": band})}
    assert set(found) == {"level", "deviation"}
    assert found["level"].agrees is True
    assert found["deviation"].agrees is False
