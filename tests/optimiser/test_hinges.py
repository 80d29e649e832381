"""What a choice hangs on."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from optimiser.hinges import find_hinge

MODEL = SimpleNamespace(metrics={"a": SimpleNamespace(cones=7), "b": SimpleNamespace(cones=9)})


def made(weight, seed=0):
    """Two recipes; the first leads by weight * (its b - 3), a plays no part."""
    rng = np.random.default_rng(seed)
    b = 4 + rng.standard_normal(4000)
    first = {"a": rng.standard_normal((4000, 2)), "b": np.column_stack([b - 0.1, b + 0.1])}
    second = {"a": rng.standard_normal((4000, 2)), "b": rng.standard_normal((4000, 2))}
    lead = weight * (b - 3) + 0.01 * rng.standard_normal(4000)
    worth = np.column_stack([lead, np.zeros(4000)])
    return SimpleNamespace(worth=worth, of=lambda place: (first, second)[place])


def test_the_metric_and_the_value_that_turn_the_choice_are_found():
    hinge = find_hinge(MODEL, made(1.0), 0, 1)
    assert (hinge.metric, hinge.role, hinge.above) == ("b", "recommended", False)
    assert hinge.threshold == pytest.approx(3.0, abs=0.01)
    # b is normal about 4 with standard deviation 1: under 3 with probability 0.159.
    assert hinge.probability == pytest.approx(0.159, abs=0.02)
    assert hinge.expected.cones == 9


def test_a_metric_that_does_harm_turns_it_from_above():
    turned = made(-1.0)
    turned.worth[:, 0] += 2.0  # leads while b is under 5
    hinge = find_hinge(MODEL, turned, 0, 1)
    assert hinge.above
    assert hinge.threshold == pytest.approx(5.0, abs=0.02)


def test_what_nothing_would_turn_has_no_hinge():
    sure = made(1.0)
    sure.worth[:, 0] += 20.0
    assert find_hinge(MODEL, sure, 0, 1) is None
    noise = made(0.0)
    assert find_hinge(MODEL, noise, 0, 1) is None
