"""What is taken into account beside the drift, and what cannot be told apart."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.regression.mixed_linear_model import MixedLM

from optimiser.ageing_beside import effects_beside, with_beside
from optimiser.ageing_laws import curve
from optimiser.ageing_model import AgeModel, solve
from optimiser.ageing_rows import CLOCKS, keep
from optimiser.repeats import hear
from tests import kept_cones

LIGHT = CLOCKS["light_hours"]


def taken(trials, clock=LIGHT):
    heard = hear(kept_cones.plan(), trials)
    return with_beside(heard, keep(heard, "level", clock), clock)


def names(kept):
    return [each.clock.name for each in kept.beside]


def test_a_recorded_temperature_that_differs_is_taken():
    kept, notes = taken(kept_cones.draw(warm=0.3).trials)
    assert names(kept) == ["temperature_c"]
    assert notes == []
    (one,) = kept.beside
    assert np.mean(one.values) == pytest.approx(0, abs=1e-12)
    # Left-out parts keep what belongs to them.
    part = kept.without(kept.cone == 0)
    assert len(part.beside[0].values) == len(part.rows) == len(part)


def test_one_that_hardly_differs_or_was_not_recorded_is_not():
    trials = kept_cones.draw().trials
    hardly = trials.assign(temperature_c=21.0 + 0.01 * trials["measurement"])
    for table in (trials, trials.drop(columns=["temperature_c", "humidity_percent"])):
        kept, notes = taken(table)
        assert names(kept) == notes == []
    kept, (note,) = taken(hardly)
    assert names(kept) == []
    assert note.startswith("temperature differs by 0.")
    assert "too little to tell what it does" in note


def test_one_gap_leaves_it_out_and_says_so():
    trials = kept_cones.draw(warm=0.3).trials
    trials.loc[3, "temperature_c"] = np.nan
    kept, (note,) = taken(trials)
    assert names(kept) == []
    assert note.startswith("1 measurement without temperature")


def test_what_goes_with_age_cannot_be_told_apart():
    trials = kept_cones.draw().trials
    hours = trials["light_hours"]
    kept, (note,) = taken(trials.assign(temperature_c=20 + hours / 50 + 0.01 * trials["cone"]))
    assert names(kept) == []
    assert note.startswith("temperature and light go together, so either may look like the other")
    # Nor two climates from each other.
    warm = kept_cones.draw(warm=0.3).trials
    kept, (note,) = taken(warm.assign(humidity_percent=90 - 2 * warm["temperature_c"]))
    assert names(kept) == ["temperature_c"]
    assert note.startswith("humidity and light go together")


def test_few_sessions_cannot_tell_a_climate_that_differs_between_them():
    trials = kept_cones.draw(visits=2, warm=0.3, seed=4).trials
    trials = trials.assign(session=np.where(trials["light_hours"] > 0, "old", "young"))
    trials.loc[trials["cone"] == 7, "session"] = ["young", "old"] * 2
    kept, notes = taken(trials.assign(temperature_c=np.where(trials.session == "old", 26.0, 20.0)))
    assert names(kept) == []
    assert len(notes) == 1


def test_over_temperature_the_light_is_taken_else_the_age():
    trials = kept_cones.draw(warm=0.3).trials
    warmth = CLOCKS["temperature_c"]
    assert names(taken(trials, warmth)[0]) == ["light_hours"]
    dark = trials.assign(light_hours=0.0)
    assert names(taken(dark, warmth)[0]) == ["age_days"]


def test_statsmodels_agrees_with_a_climate_beside_the_drift():
    """Free levels as fixed columns, a random slope, the temperature one more fixed column."""
    trials = kept_cones.draw(warm=0.3, session=0.0, dark=0, cones=8).trials
    kept, _ = taken(trials.assign(session=[f"day {row}" for row in range(len(trials))]))
    law = curve(0, 1.0, kept.times, kept.span)
    member = (kept.cone[:, None] == np.arange(8)).astype(float)
    design = np.column_stack([member, kept.beside[0].values, law])
    peer = MixedLM(kept.values, design, groups=kept.cone, exog_re=law[:, None]).fit(reml=True)
    ratio = float(np.sqrt(peer.cov_re[0, 0] / peer.scale))
    found = solve(kept, law, np.array([[ratio, 1.0]]))
    assert found.degrees == len(kept) - design.shape[1]
    assert found.quadratic[0] / found.degrees == pytest.approx(peer.scale, rel=1e-3)
    np.testing.assert_allclose(found.mean[0, :2], peer.fe_params[[-1, -2]], rtol=1e-5)
    errors = np.sqrt(peer.scale * np.diagonal(np.linalg.inv(found.precision[0]))[:2])
    # Its own come from a numerical Hessian over the variances too.
    np.testing.assert_allclose(errors, peer.bse_fe[[-1, -2]], rtol=2e-2)


def test_drawn_levels_are_those_of_the_mean_climate():
    shelf = kept_cones.draw(warm=0.3, noise=0.01, session=0.0)
    kept, _ = taken(shelf.trials)
    drawn = AgeModel(kept).draw(500, np.random.default_rng(0))
    warmer = 0.3 * (kept.beside[0].middle - 22)
    np.testing.assert_allclose(np.median(drawn.level, axis=0), shelf.level + warmer, atol=0.05)
    assert np.median(drawn.beside[:, 0]) / kept.beside[0].scale == pytest.approx(0.3, abs=0.01)
    assert np.all(drawn.spread > 0)


@pytest.mark.parametrize(("warmth", "said"), [(1.0, False), (0.4, True)])
def test_an_effect_told_beyond_what_was_seen_says_how_little_that_is(warmth, said):
    trials = kept_cones.draw(warm=0.3).trials
    kept, _ = taken(trials.assign(temperature_c=20 + warmth * (trials["temperature_c"] - 20)))
    drawn = AgeModel(kept).draw(50, np.random.default_rng(1))
    text = effects_beside(kept, drawn, "dB")[0].text
    assert ("were seen" in text) == said
