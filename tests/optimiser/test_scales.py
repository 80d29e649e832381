"""The scale of a metric and what is told of it."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from optimiser import fit
from optimiser.scales import change_in_percent, is_logarithmic, is_open, spread_in_percent
from tests import workshops


@pytest.mark.parametrize("sd", [0.001, 0.1, 0.8])
def test_spread_in_percent_is_the_coefficient_of_variation_of_a_log_normal(sd):
    law = stats.lognorm(sd)
    assert spread_in_percent(sd) == pytest.approx(100 * law.std() / law.mean(), rel=1e-9)


def test_changes_in_percent():
    assert change_in_percent(np.log(1.2)) == pytest.approx(20)
    assert change_in_percent(np.log(0.5)) == pytest.approx(-50)
    assert change_in_percent(1e4) == np.inf
    assert spread_in_percent(1e4) == np.inf


@pytest.mark.parametrize(
    ("unit", "values", "log"),
    [
        ("kHz", [1.0, 2.0], True),
        (" MS ", [1.0], True),
        ("%", [0.5], True),
        ("dB", [1.0], False),
        ("", [1.0], False),
        ("ms", [1.0, 0.0], False),
        ("ms", [1.0, -2.0], False),
    ],
)
def test_which_metrics_are_taken_on_their_logarithm(unit, values, log):
    assert is_logarithmic(unit, np.array(values)) is log


@pytest.mark.parametrize(
    ("unit", "unsaid"),
    [("", True), ("N/mm", True), (" dB(A)", False), ("MS", False), ("%", False)],
)
def test_which_units_leave_the_scale_open(unit, unsaid):
    assert is_open(unit) is unsaid


def test_the_surrogate_uses_the_same_scale():
    model = fit(workshops.plan(), workshops.draw(workshops.modest(), 0, 0.3, 0.1).trials)
    assert {name: each.log for name, each in model.metrics.items()} == {
        "level": False,
        "decay": True,
    }
