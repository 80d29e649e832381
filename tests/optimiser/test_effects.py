"""Predicted effects: what they tend to, what they say when nothing is known."""

from __future__ import annotations

import numpy as np
import pytest

from optimiser.effects import predict_effects
from optimiser.mixed import MixedModel
from tests.workshops import kept_reference, thorough


def model_of(rows, values):
    recipe, cone, session = np.array(rows).T
    return MixedModel(
        values, recipe, {"session": session, "print": np.unique(cone, return_inverse=True)[1]}
    )


def test_many_values_give_the_plain_predictor_at_the_estimated_variances():
    rng = np.random.default_rng(1)
    group = np.repeat(np.arange(30), 10)
    model = MixedModel(
        1.5 * rng.standard_normal(30)[group] + rng.standard_normal(300),
        0 * group,
        {"group": group},
    )
    fit = model.fit()
    ratio = np.array([[fit.variances["group"] / fit.variances["residual"]]])
    mean, variance = model.effects("group", ratio)
    sd = np.sqrt(variance[0] * fit.variances["residual"])
    found = predict_effects(model, "group")
    np.testing.assert_allclose(found.mean, mean[0], atol=0.02)
    np.testing.assert_allclose(found.high - found.low, 2 * 1.645 * sd, rtol=0.03)


def test_the_mixture_against_a_fine_sum_over_one_ratio():
    """The same prior and likelihood on 4000 points, quantiles from 200 000 draws."""
    group = np.repeat(np.arange(4), 2)
    values = np.array([0.1, 0.3, 1.2, 0.9, -0.5, -0.2, 0.4, 0.6])
    model = MixedModel(values, 0 * group, {"group": group})
    places = np.linspace(np.log(0.01), np.log(1e4), 4000)
    ratios = np.exp(2 * places)[:, None]
    pieces = model.pieces(ratios)
    log_weight = -0.5 * (pieces.log_det + 7 * np.log(pieces.quadratic))
    log_weight -= np.log1p((places / 1.5) ** 2)
    weight = np.exp(log_weight - log_weight.max())
    mean, variance = model.effects("group", ratios)
    rng = np.random.default_rng(2)
    rows = rng.choice(4000, 200_000, p=weight / weight.sum())
    sd = np.sqrt(variance[rows, 1] * pieces.quadratic[rows] / 7)
    draws = mean[rows, 1] + sd * rng.standard_t(7, 200_000)
    found = predict_effects(model, "group")
    assert found.mean[1] == pytest.approx(weight @ mean[:, 1] / weight.sum(), abs=2e-3)
    ends = np.quantile(draws, [0.05, 0.95])
    assert (found.low[1], found.high[1]) == pytest.approx(tuple(ends), abs=0.015)


def test_a_finer_grid_changes_nothing_that_counts():
    rng = np.random.default_rng(3)
    rows = kept_reference()
    values = rng.standard_normal(len(rows))
    coarse, fine = (predict_effects(model_of(rows, values), "session", nodes=n) for n in (24, 60))
    np.testing.assert_allclose(coarse.mean, fine.mean, atol=0.01)
    np.testing.assert_allclose(coarse.low, fine.low, atol=0.03)
    np.testing.assert_allclose(coarse.high, fine.high, atol=0.03)


def test_contrasts_cancel_what_all_groups_share():
    rng = np.random.default_rng(4)
    rows = thorough()
    values = rng.standard_normal(len(rows))
    found = predict_effects(model_of(rows, values), "session", np.eye(6) - 1 / 6)
    assert found.mean.sum() == pytest.approx(0, abs=1e-9)
    assert np.all(found.low < found.mean)
    assert np.all(found.mean < found.high)


def test_where_nothing_moves_offsets_are_small_and_their_intervals_are_not_empty():
    rng = np.random.default_rng(5)
    rows = kept_reference()
    model = model_of(rows, 0.1 * rng.standard_normal(len(rows)))
    found = predict_effects(model, "session")
    assert np.all(np.abs(found.mean) < 0.1)
    assert np.all(found.high - found.low > 0.02)
    assert np.all((found.low < 0) & (found.high > 0))


@pytest.mark.parametrize("factor", [1e-8, 1e8])
def test_effects_scale_with_the_values(factor):
    rng = np.random.default_rng(6)
    rows = kept_reference()
    values = rng.standard_normal(len(rows))
    plain, scaled = (predict_effects(model_of(rows, f * values), "session") for f in (1, factor))
    np.testing.assert_allclose(scaled.mean / factor, plain.mean, rtol=1e-6, atol=1e-9)
    np.testing.assert_allclose(scaled.high / factor, plain.high, rtol=1e-5)


def test_repeats_that_agree_to_the_last_digit_are_not_taken_as_perfect():
    """Read to 1 dB: two equal readings a session do not make the third session's offset sure."""
    session = np.repeat(np.arange(3), 2)
    coarse = MixedModel(np.array([80.0, 80, 80, 80, 81, 81]), 0 * session, {"session": session})
    once = MixedModel(np.array([80.0, 80, 81]), np.zeros(3, dtype=int), {"session": np.arange(3)})
    assert coarse.coarse
    assert not once.coarse
    widths = [
        np.ptp([found.low[2], found.high[2]])
        for found in (predict_effects(coarse, "session"), predict_effects(once, "session"))
    ]
    assert widths[0] > 0.8 * widths[1]
    assert widths[0] > 0.5
