"""Scores of kept cones now and later."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimiser.ageing_laws import Span
from optimiser.ageing_model import Drawn
from optimiser.ageing_rows import Kept
from optimiser.ageing_scores import scores_after, summary
from tests import kept_cones

SPAN = Span(0.0, 100.0)
RNG = np.random.default_rng(0)


def level(drift: float, *, cone: str = "1") -> tuple[Kept, Drawn]:
    """A cone at 80 dB that has lost `drift` by 100 h, known to 0.01 dB."""
    count = 2000
    drawn = Drawn(
        np.zeros(count, dtype=int), np.full(count, np.inf),
        80 + 0.01 * RNG.standard_normal((count, 1)), np.full((count, 1), drift),
        np.full(count, drift), np.ones(count), np.zeros(count), SPAN,
    )  # fmt: skip
    kept = Kept(
        np.array([80.0, 80 + drift]), np.array([0.0, 100.0]), np.array([0, 0]), np.array([0, 1]),
        [cone], ["a", "b"], False, SPAN, np.array([True]),
    )  # fmt: skip
    return kept, drawn


def test_the_score_by_hand():
    (found,), lacking = scores_after(kept_cones.plan(), {"level": level(-0.5)}, 200.0)
    assert lacking == ""
    assert (found.cone, found.last) == ("1", 100.0)
    # poor 70, good 90.
    assert found.now.mean == pytest.approx((79.5 - 70) / 20, abs=1e-3)
    assert found.then.mean == pytest.approx((79.0 - 70) / 20, abs=1e-3)
    assert found.change.mean == pytest.approx(-0.025, abs=1e-9)


def test_a_broken_limit_makes_the_score_0():
    (found,), _ = scores_after(kept_cones.plan(), {"level": level(-1.0)}, 200.0)
    assert found.now.mean > 0.4
    assert found.then.high == 0


def test_a_score_that_is_a_metric_has_no_value_beyond_its_limit():
    metric = {"from": "hand", "unit": "dB", "goal": "maximise", "limit": ">= 78.5"}
    plan = kept_cones.plan(metrics={"level": metric})
    (found,), _ = scores_after(plan, {"level": level(-1.0)}, 200.0)
    assert found.now.mean == pytest.approx(79, abs=0.01)
    assert not found.then.known


def test_what_lacks_is_named():
    found, lacking = scores_after(kept_cones.plan(), {}, 200.0)
    assert found == []
    assert lacking == "No score after 200: the ageing of level cannot be told yet."


def test_a_metric_that_never_changes_is_taken_as_it_is():
    kept, _ = level(0.0)
    (found,), _ = scores_after(kept_cones.plan(), {"level": (kept, None)}, 200.0)
    assert found.now.mean == found.then.mean == 0.5
    assert found.now.cones == 0


def test_a_summary_of_nothing_is_unknown():
    assert not summary(np.array([1.0, math.nan]), 1).known
    assert summary(np.arange(101.0), 3).low == 5
