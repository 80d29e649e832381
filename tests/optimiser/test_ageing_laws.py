"""Laws of ageing: their ends, limits, and where they start."""

from __future__ import annotations

import math

import numpy as np
import pytest

from optimiser.ageing_laws import LAWS, Span, curve, law_points, reached, shape_points

SPAN = Span(20.0, 520.0)


@pytest.mark.parametrize(("law", "shape", "_prior"), law_points(SPAN))
def test_every_law_goes_from_0_to_1_and_rises(law, shape, _prior):
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


@pytest.mark.parametrize(("law", "shape", "_prior"), law_points(SPAN))
def test_reaching_a_value_is_the_inverse(law, shape, _prior):
    times = np.linspace(20, 900, 12)
    laws, shapes = np.full(12, law), np.full(12, shape)
    values = curve(laws, shapes, times, SPAN)
    found = reached(laws, shapes, values, SPAN)
    # Far along a saturating law a value no longer tells its time.
    told = np.abs(np.gradient(values, times)) * SPAN.length > 1e-9
    np.testing.assert_allclose(found[told], times[told], rtol=1e-5)


def test_what_a_saturating_law_never_reaches():
    assert reached(np.array([2]), np.array([50.0]), np.array([1.5]), SPAN)[0] == np.inf
    assert reached(np.array([1]), np.array([0.5]), np.array([1e9]), SPAN)[0] == np.inf


def test_points_of_a_law_add_up_to_one_and_part_of_them_to_their_part():
    whole = law_points(SPAN)
    for law in (1, 2):
        total = sum(math.exp(each.log_prior) for each in whole if each.law == law)
        assert total == pytest.approx(1)
    part = shape_points(2, 100.0, 200.0, SPAN)
    assert (part[0].shape, part[-1].shape) == pytest.approx((100.0, 200.0))
    # Nine points of an eighth octave each, out of ln(1000 / 15).
    share = sum(math.exp(each.log_prior) for each in part)
    assert share == pytest.approx(9 / 8 * math.log(2) / math.log(2 / 0.03))
