"""The mixed model of ageing: against long-hand normal theory, and by its draws."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import linalg, stats

from optimiser.ageing_laws import LAWS, curve
from optimiser.ageing_model import AgeModel, solve
from optimiser.ageing_rows import CLOCKS, Kept, keep
from optimiser.repeats import hear
from tests import kept_cones


def kept(**design) -> Kept:
    shelf = kept_cones.draw(**design)
    return keep(hear(kept_cones.plan(), shelf.trials), "level", CLOCKS["light_hours"])


def long_hand(part: Kept, law: np.ndarray, drifts: float, sessions: float):
    """Restricted likelihood with the noise variance integrated, and the estimate, from V."""
    member = (part.cone[:, None] == np.unique(part.cone)).astype(float)
    fixed = np.column_stack([member, law])
    same_cone = part.cone[:, None] == part.cone
    same_session = part.session[:, None] == part.session
    total = np.eye(len(law)) + drifts**2 * np.outer(law, law) * same_cone
    total += sessions**2 * same_session
    inverse = linalg.inv(total)
    inner = fixed.T @ inverse @ fixed
    found = linalg.solve(inner, fixed.T @ inverse @ part.values)
    left = part.values - fixed @ found
    degrees = len(law) - fixed.shape[1]
    logs = np.linalg.slogdet(total)[1] + np.linalg.slogdet(inner)[1]
    return -0.5 * (logs + degrees * np.log(left @ inverse @ left)), found[-1]


def test_evidence_and_estimate_are_those_of_the_covariance_written_out():
    part = kept(cones=4, visits=3)
    law = curve(1, 80.0, part.times, part.span)
    ratios = np.array([[0.3, 0.5], [2.0, 1.0], [8.0, 0.1], [0.05, 4.0]])
    found = solve(part, law, ratios)
    hand = [long_hand(part, law, *each) for each in ratios]
    evidence = np.array([each[0] for each in hand])
    # Up to a constant that depends on the levels' design alone.
    np.testing.assert_allclose(np.diff(found.log_evidence), np.diff(evidence), rtol=1e-7)
    np.testing.assert_allclose(found.mean[:, 0], [each[1] for each in hand], rtol=1e-7)


def test_the_mean_drift_of_many_readings_has_students_interval():
    part = kept(session=0.0, dark=0, spread=0.6, noise=0.02, cones=8, visits=5)
    drawn = AgeModel(part).draw(4000, np.random.default_rng(0))
    own = [
        500 * np.polyfit(part.times[part.cone == each], part.values[part.cone == each], 1)[0]
        for each in range(8)
    ]
    half = stats.t.ppf(0.95, 7) * np.std(own, ddof=1) / np.sqrt(8)
    low, high = np.quantile(drawn.mean_drift, [0.05, 0.95])
    assert (low + high) / 2 == pytest.approx(np.mean(own), abs=0.1 * half)
    assert (high - low) / 2 == pytest.approx(half, rel=0.12)


def test_a_cones_drawn_values_stay_near_its_readings():
    part = kept(noise=0.05, session=0.0)
    drawn = AgeModel(part).draw(1000, np.random.default_rng(0))
    for cone in range(len(part.cones)):
        here = part.cone == cone
        low, high = np.quantile(drawn.values(cone, part.times[here]), [0.001, 0.999], axis=0)
        assert np.all((low - 0.2 < part.values[here]) & (part.values[here] < high + 0.2))


@pytest.mark.parametrize("law", [0, 1, 2])
def test_the_true_law_gets_weight(law):
    part = kept(law=law, shape=40.0, visits=6, noise=0.03, session=0.0, drift=-3.0)
    weights = AgeModel(part).weights
    assert weights.sum() == pytest.approx(1)
    assert np.argmax(weights) == law
    assert weights[law] > 0.8


def test_sessions_that_are_each_their_own_are_part_of_the_noise():
    part = kept(cones=3, dark=0)
    alone = Kept(
        part.values, part.times, part.cone, np.arange(len(part)), part.cones,
        [str(each) for each in range(len(part))], False, part.span, part.aged,
    )  # fmt: skip
    drawn = AgeModel(alone).draw(200, np.random.default_rng(0))
    assert not drawn.session.any()


def test_even_draws_share_the_laws():
    part = kept(law=2, shape=40.0, visits=6, noise=0.03, session=0.0, drift=-3.0)
    even = AgeModel(part).draw(3000, np.random.default_rng(0), even=True)
    shares = np.bincount(even.law, minlength=len(LAWS)) / 3000
    np.testing.assert_allclose(shares, 1 / 3, atol=0.04)
