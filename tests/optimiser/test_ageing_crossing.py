"""When a cone leaves what the plan allows."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimiser.ageing_crossing import Bound, bound_of, cone_crossing, crossing_times
from optimiser.ageing_laws import Span
from optimiser.ageing_model import Drawn
from optimiser.ageing_rows import CLOCKS, Kept
from tests import kept_cones

HOURS = CLOCKS["light_hours"]
LOW = Bound("limit >= 70", 70.0, upper=False)


def drawn(level, drift, law=0, shape=math.inf) -> Drawn:
    """One cone, a draw for each pair of level and drift over 100 h."""
    count = len(level)
    return Drawn(
        np.full(count, law), np.full(count, shape), np.array(level, dtype=float)[:, None],
        np.array(drift, dtype=float)[:, None], np.array(drift, dtype=float), np.ones(count),
        np.zeros(count), Span(0.0, 100.0),
    )  # fmt: skip


def kept(last: float = 100.0, *, logarithmic: bool = False) -> Kept:
    return Kept(
        np.array([80.0, 75.0]), np.array([0.0, last]), np.array([0, 0]), np.array([0, 1]), ["7"],
        ["a", "b"], logarithmic, Span(0.0, 100.0), np.array([True]),
    )  # fmt: skip


def test_times_by_hand():
    found = crossing_times(drawn([80, 80, 80, 69], [-10, 10, -4, 0]), 0, LOW, 70.0, 200.0)
    assert found == pytest.approx([100.0, math.inf, math.inf, 0.0])


def test_a_saturating_cone_may_never_get_there():
    part = drawn([80, 80], [-10, -9.9], law=2, shape=20.0)
    found = crossing_times(part, 0, LOW, 70.0, 500.0)
    assert found[0] == pytest.approx(100.0)
    # It levels off at 80 - 9.9 / (1 - exp(-5)), under 70, so a little later.
    end = 9.9 / (1 - math.exp(-5))
    assert end < 10
    assert found[1] == math.inf


def test_an_upper_bound_is_met_from_below():
    found = crossing_times(drawn([1.0], [2.0]), 0, Bound("poor, 2", 2.0, upper=True), 2.0, 200.0)
    assert found == pytest.approx([50.0])


@pytest.mark.parametrize(
    ("levels", "drifts", "text"),
    [
        ([80] * 40, [-6 - 0.075 * each for each in range(40)], "after 1"),
        ([80] * 40, [-6 - 0.2 * each for each in range(40)], "; it may be beyond already"),
        ([80] * 40, [0.0] * 40, "not within 200\N{NO-BREAK SPACE}h (90 %)"),
        ([69] * 40, [0.0] * 40, "beyond it already"),
        ([80] * 40, [-2 - 0.19 * each for each in range(40)], "later cannot be told yet"),
        ([80] * 40, [-2 - each for each in range(40)], "cannot tell yet: it may be beyond"),
    ],
)
def test_what_is_said(levels, drifts, text):
    found = cone_crossing(drawn(levels, drifts), kept(), 0, LOW, HOURS, 200.0)
    assert text in found.text
    assert (found.cone, found.bound) == ("7", "limit >= 70")


def test_a_bound_at_zero_is_never_met_on_a_logarithm():
    bound = Bound("limit >= 0", 0.0, upper=False)
    found = cone_crossing(
        drawn([4.0] * 9, [-5.0] * 9), kept(logarithmic=True), 0, bound, HOURS, 200
    )
    assert found.time.mean == math.inf


def test_which_bound_a_metric_has():
    def bound(**keys):
        metric = {"from": "hand", "unit": "dB", **keys}
        return bound_of(kept_cones.plan(metrics={"m": metric}).metrics["m"])

    limited = bound(goal="maximise", poor=70, good=90, limit=">= 78.5")
    assert (limited.text, limited.value, limited.upper) == ("limit >= 78.5\xa0dB", 78.5, False)
    poor = bound(goal="minimise", poor=5, good=1)
    assert (poor.text, poor.value, poor.upper) == ("poor, 5\xa0dB", 5.0, True)
    assert bound(goal="maximise") is None
    assert bound(goal="target", poor=2, good=5) is None
