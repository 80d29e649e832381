"""Laws of ageing: their ends, limits, and where they start."""

from __future__ import annotations

import numpy as np
import pytest

from optimiser.ageing_laws import LAWS, Span, curve, law_points

SPAN = Span(20.0, 520.0)


@pytest.mark.parametrize(("law", "shape"), law_points(SPAN))
def test_every_law_goes_from_0_to_1_and_rises(law, shape):
    times = np.linspace(SPAN.first, SPAN.longest, 30)
    values = curve(law, shape, times, SPAN)
    assert values[0] == 0
    assert values[-1] == pytest.approx(1)
    assert np.all(np.diff(values) > 0)
    assert LAWS[law] in ("linear", "logarithmic", "saturating")


@pytest.mark.parametrize("law", [1, 2])
def test_a_slow_law_is_nearly_linear(law):
    times = np.linspace(20, 520, 9)
    slow = curve(law, 1e7, times, SPAN)
    np.testing.assert_allclose(slow, curve(0, np.inf, times, SPAN), atol=1e-4)


def test_by_hand():
    assert curve(1, 50.0, 70.0, SPAN) == pytest.approx(np.log(2) / np.log(11))
    assert curve(2, 250.0, 270.0, SPAN) == pytest.approx((1 - np.exp(-1)) / (1 - np.exp(-2)))
    assert curve(0, np.inf, 1020.0, SPAN) == pytest.approx(2.0)


def test_laws_broadcast_and_a_time_before_the_first_is_finite():
    many = curve(np.array([[0], [1], [2]]), np.array([[np.inf], [5.0], [5.0]]), [0, 20, 99], SPAN)
    assert many.shape == (3, 3)
    assert np.isfinite(many).all()
    assert np.all(many[:, 0] < 0)
