"""Growth of 27 children: Potthoff & Roy (1964), Biometrika 51; balanced, four ages each.

Estimates as in Pinheiro & Bates (2000), Mixed-Effects Models in S and S-PLUS, section 1.4, from
memory, and recomputed here with statsmodels. In a balanced table free levels and normal ones give
the same slope, slope spread and residual.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize
from statsmodels.regression.mixed_linear_model import MixedLM

from optimiser.ageing_laws import Span
from optimiser.ageing_model import AgeModel, solve
from optimiser.ageing_rows import Kept

GIRLS = """21 20 21.5 23  21 21.5 24 25.5  20.5 24 24.5 26  23.5 24.5 25 26.5  21.5 23 22.5 23.5
20 21 21 22.5  21.5 22.5 23 25  23 23 23.5 24  20 21 22 21.5  16.5 19 19 19.5  24.5 25 28 28"""
BOYS = """26 25 29 31  21.5 22.5 23 26.5  23 22.5 24 27.5  25.5 27.5 26.5 27  20 23.5 22.5 26
24.5 25.5 27 28.5  22 22 24.5 26.5  24 21.5 24.5 25.5  23 20.5 31 26  27.5 28 31 31.5
23 23 23.5 25  21.5 23.5 24 28  17 24.5 26 29.5  22.5 25.5 25.5 26  23 24.5 26 30
22 21.5 23.5 25"""
DISTANCE = np.array(f"{GIRLS} {BOYS}".split(), dtype=float)
CHILD = np.repeat(np.arange(27), 4)
AGE = np.tile([8.0, 10.0, 12.0, 14.0], 27)
SPAN = Span(8.0, 14.0)


@pytest.fixture(scope="module")
def kept() -> Kept:
    return Kept(
        DISTANCE, AGE, CHILD, np.arange(108), [str(each) for each in range(27)],
        [str(each) for each in range(108)], False, SPAN, np.ones(27, dtype=bool),
    )  # fmt: skip


@pytest.fixture(scope="module")
def likeliest(kept):
    """The model at its most likely ratio, and that ratio; the drift is per six years."""
    law = (AGE - 8) / 6

    def fall(log_ratio: float) -> float:
        return -float(solve(kept, law, np.exp([[log_ratio, 0.0]])).log_evidence[0])

    ratio = math.exp(optimize.minimize_scalar(fall, bounds=(-4, 4), method="bounded").x)
    return solve(kept, law, np.array([[ratio, 1.0]])), ratio


def test_published_estimates(likeliest):
    found, ratio = likeliest
    residual = math.sqrt(found.quadratic[0] / found.degrees)
    error = residual * math.sqrt(np.linalg.inv(found.precision[0])[0, 0])
    assert found.degrees == 108 - 27 - 1
    assert found.mean[0, 0] / 6 == pytest.approx(0.660185, abs=5e-7)
    assert error / 6 == pytest.approx(0.0712533, abs=2e-5)
    assert residual == pytest.approx(1.310040, abs=2e-4)
    assert ratio * residual / 6 == pytest.approx(0.226428, abs=2e-4)


def test_statsmodels_agrees(likeliest):
    found, ratio = likeliest
    design = np.column_stack([np.ones(108), AGE - 11])
    peer = MixedLM(DISTANCE, design, groups=CHILD, exog_re=design).fit(reml=True)
    residual = found.quadratic[0] / found.degrees
    assert peer.fe_params[1] == pytest.approx(found.mean[0, 0] / 6, rel=1e-6)
    assert peer.scale == pytest.approx(residual, rel=1e-3)
    assert peer.cov_re[1, 1] == pytest.approx(ratio**2 * residual / 36, rel=1e-2)


def test_statsmodels_agrees_on_an_unbalanced_table(kept):
    """Free levels as 27 fixed columns beside a random slope: the very same model."""
    gone = np.random.default_rng(3).random(108) < 0.25
    part = kept.without(gone)
    law = (part.times - 8) / 6
    design = np.column_stack([part.cone[:, None] == np.unique(part.cone), law]).astype(float)
    peer = MixedLM(part.values, design, groups=part.cone, exog_re=law[:, None]).fit(reml=True)
    ratio = float(np.sqrt(peer.cov_re[0, 0] / peer.scale))
    found = solve(part, law, np.array([[ratio, 1.0]]))
    assert found.degrees == len(part) - design.shape[1]
    assert found.quadratic[0] / found.degrees == pytest.approx(peer.scale, rel=1e-4)
    assert found.mean[0, 0] == pytest.approx(peer.fe_params[-1], rel=1e-6)
    error = np.sqrt(peer.scale * np.linalg.inv(found.precision[0])[0, 0])
    assert error == pytest.approx(peer.bse_fe[-1], rel=2e-3)
    own = [float(peer.random_effects[each].iloc[0]) for each in np.unique(part.cone)]
    np.testing.assert_allclose(found.mean[0, 1 + np.unique(part.cone)], own, atol=1e-5)
    # And no other ratio is likelier.
    near = np.array([[ratio * factor, 1.0] for factor in (0.97, 1.0, 1.03)])
    assert np.argmax(solve(part, law, near).log_evidence) == 1


def test_averaged_over_what_is_unknown_the_interval_is_much_the_same(kept):
    drawn = AgeModel(kept).draw(4000, np.random.default_rng(1))
    low, high = np.quantile(drawn.mean_drift, [0.05, 0.95]) / 6
    width = 2 * 1.706 * 0.0712533  # Student's t with 26 degrees of freedom
    assert high - low == pytest.approx(width, rel=0.12)
    assert low < 0.660185 < high
