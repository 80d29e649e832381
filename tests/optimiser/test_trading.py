"""Noisy expected improvement of the hypervolume."""

from __future__ import annotations

import moocore
import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import fit
from optimiser.acquisition import NoisyImprovement
from optimiser.surrogate import Model
from optimiser.trading import VolumeImprovement

STIFF = {"goal": "maximise", "poor": 0, "good": 1}
LIGHT = {"goal": "minimise", "poor": 5, "good": 1, "unit": "g"}
NEAR = {"goal": "target", "poor": 0.5, "good": 0.5}


def trade_plan(**changes: object) -> Plan:
    """Two or three metrics that pull apart over three knobs."""
    data = {
        "name": "traded",
        "goal": "trade",
        "variables": {
            name: {"kind": "continuous", "low": 0, "high": 1, "step": 0.05} for name in "abc"
        },
        "metrics": {"stiff": STIFF, "light": LIGHT},
    }
    return Plan.from_dict({**data, **changes})


def trade_trials(plan: Plan, count: int, seed: int = 0, noise: float = 0.03) -> pd.DataFrame:
    """Measured trials: what makes a cone stiff makes it heavy, in arcs that bulge."""
    recipes = Space(plan).sample(count, seed=seed)
    a, b, c = (recipes[name].to_numpy(dtype=float) for name in "abc")
    rng = np.random.default_rng([seed, 4])
    loss = (b - 0.4) ** 2
    values = {
        "stiff": np.sqrt(a) - loss,
        "light": 1 + 4 * a**2 + 2 * loss + 0.5 * (c - 0.7) ** 2,
        "near": 0.2 + 0.8 * c,
    }
    scale = {"stiff": 1.0, "light": 4.0, "near": 0.5}
    heard = {
        name: values[name] + noise * scale[name] * rng.standard_normal(count)
        for name in plan.metrics
    }
    return recipes.assign(**heard, status="measured", cone=np.arange(1, count + 1))


def fitted(count: int = 12, **changes: object) -> tuple[Model, pd.DataFrame]:
    plan = trade_plan(**changes)
    trials = trade_trials(plan, count)
    return fit(plan, trials, seed=0), trials


@pytest.mark.parametrize("metrics", [2, 3])
def test_the_gain_is_that_of_plain_monte_carlo_with_an_outside_volume(metrics):
    # The definition (Daulton et al. 2021, eq. 3): the expected rise of the hypervolume, over joint
    # draws of the known recipes and the new one; volumes by moocore, draws by numpy.
    wanted = {"stiff": STIFF, "light": LIGHT} | ({"near": NEAR} if metrics == 3 else {})
    model, trials = fitted(metrics=wanted)
    known = model.encoding(trials)
    query = Space(model.plan).sample(400, seed=9)
    ours = VolumeImprovement(model, known, seed=0, incumbents=64)
    gain = ours.gain(model.encoding(query))
    best = np.argsort(-gain.mean(axis=0))[[0, 20, 60]]
    rng = np.random.default_rng(5)
    each = 250
    for place in best:
        both = known + model.encoding(query.iloc[[place]])
        values = {}
        for name, part in model.metrics.items():
            mean, covariance = part.process.joint(both)
            normal = [
                rng.multivariate_normal(m, v, size=each, method="eigh")
                for m, v in zip(mean, covariance, strict=True)
            ]
            scale = part.process.centre_ + part.process.scale_ * np.concatenate(normal)
            values[name] = np.exp(scale) if part.log else scale
        rises = [(values["stiff"] - 0) / (1 - 0), (5 - values["light"]) / (5 - 1)]
        if metrics == 3:
            rises.append(1 - np.abs(values["near"] - 0.5) / 0.5)
        draws = np.stack(rises, axis=2)
        reference = np.zeros(metrics)
        rise = np.array(
            [
                moocore.hypervolume(one, ref=reference, maximise=True)
                - moocore.hypervolume(one[:-1], ref=reference, maximise=True)
                for one in draws
            ]
        )
        error = np.hypot(
            rise.std() / np.sqrt(len(rise)), gain[:, place].std() / np.sqrt(len(gain))
        )
        assert error < 0.08 * rise.mean()
        assert gain[:, place].mean() == pytest.approx(rise.mean(), abs=3 * error)


def test_the_search_value_is_the_logarithm_of_the_gain_where_there_is_any():
    model, trials = fitted()
    ours = VolumeImprovement(model, model.encoding(trials), seed=0)
    points = model.encoding(Space(model.plan).sample(300, seed=9))
    gain, value = ours.gain(points).mean(axis=0), np.exp(ours.log_value(points))
    clear = gain > 0.1 * gain.max()
    assert clear.sum() > 10
    np.testing.assert_allclose(value[clear], gain[clear], rtol=0.01)
    # Behind every drawn front there is a slope all the same.
    assert np.isfinite(np.log(value)).all()
    assert len(np.unique(value)) == len(value)


def test_a_rough_value_sorts_as_the_full_one_does():
    model, trials = fitted(20)
    ours = VolumeImprovement(model, model.encoding(trials), seed=0)
    points = model.encoding(Space(model.plan).sample(1000, seed=9))
    full, rough = ours.log_value(points), ours.log_value(points, rough=True)
    assert np.argmax(full) in np.argsort(-rough)[:100]


def test_a_known_recipe_adds_nothing_and_a_pending_one_lowers_its_surroundings():
    model, trials = fitted()
    query = Space(model.plan).sample(200, seed=9)
    points, known = model.encoding(query), model.encoding(trials)
    before = VolumeImprovement(model, known, seed=0)
    best = int(np.argmax(before.log_value(points)))
    spot = model.encoding(query.iloc[[best]])
    after = VolumeImprovement(model, known + spot, seed=0)
    assert after.gain(spot).mean() < 0.05 * before.gain(spot).mean()
    assert before.gain(known).mean(axis=0).max() < 0.1 * before.gain(spot).mean()


def test_the_chance_of_the_front_is_shared_by_those_that_may_be_on_it():
    model, trials = fitted(14)
    ours = VolumeImprovement(model, model.encoding(trials), seed=0)
    found = trials[["stiff", "light"]].to_numpy()
    beaten = [((found[:, 0] > s + 0.2) & (found[:, 1] < light - 0.8)).any() for s, light in found]
    assert any(beaten)
    assert (ours.chances_[np.array(beaten)] < 0.05).all()
    assert ours.chances_.max() > 0.9


def test_a_recipe_that_breaks_a_hard_limit_adds_nothing():
    limited = {"stiff": STIFF, "light": {**LIGHT, "limit": "<= 3"}}
    model, trials = fitted(16, metrics=limited)
    free = fit(trade_plan(), trials, seed=0)
    query = Space(model.plan).sample(300, seed=9)
    heavy = free.predict(query)[("light", "low")].to_numpy() > 3.3
    assert 10 < heavy.sum() < 290
    ours = VolumeImprovement(model, model.encoding(trials), seed=0)
    other = VolumeImprovement(free, free.encoding(trials), seed=0)
    gain = ours.gain(model.encoding(query)).mean(axis=0)
    assert gain[heavy].max() < 0.05 * gain.max()
    assert other.gain(free.encoding(query)).mean(axis=0)[heavy].max() > 5 * gain[heavy].max()
    # A known recipe that breaks it covers nothing and is on no front.
    broken = trials["light"].to_numpy() > 3.5
    assert (ours.chances_[broken] < 0.05).all()


def test_what_is_not_measured_yet_is_left_out():
    plan = trade_plan()
    trials = trade_trials(plan, 8).assign(light=np.nan)
    model = fit(plan, trials, seed=0)
    ours = VolumeImprovement(model, model.encoding(trials), seed=0)
    alone = NoisyImprovement(model, model.encoding(trials), seed=0)
    points = model.encoding(Space(plan).sample(50, seed=9))
    best = int(np.argmax(alone.gain(points).mean(axis=0)))
    assert ours.gain(points).mean(axis=0)[best] > 0
    assert ours.rises_.shape[2] == 1


def test_where_nothing_reaches_poor_the_search_still_spreads():
    # Every known recipe is too heavy by far: hardly a draw adds anything, yet the value points.
    plan = trade_plan(metrics={"stiff": STIFF, "light": {**LIGHT, "poor": 0.5, "good": 0.3}})
    trials = trade_trials(plan, 12)
    model = fit(plan, trials, seed=0)
    ours = VolumeImprovement(model, model.encoding(trials), seed=0)
    query = Space(plan).sample(400, seed=9)
    points = model.encoding(query)
    assert (ours.gain(points).mean(axis=0) < 3e-3).all()
    best = query.iloc[np.argsort(-ours.log_value(points))[:20]]
    light = model.predict(best)[("light", "mean")]
    stiff = model.predict(best)[("stiff", "mean")]
    # It pushes the front of what there is, not one edge of it.
    assert np.ptp(light) > 1.0
    assert np.ptp(stiff) > 0.2
    worst = query.iloc[np.argsort(ours.log_value(points))[:20]]
    assert model.predict(worst)[("stiff", "mean")].mean() < stiff.mean()
