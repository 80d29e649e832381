"""The mixed model, against statsmodels and against its definition."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pytest
from scipy import optimize, stats
from statsmodels.regression.mixed_linear_model import MixedLM

from optimiser.mixed import MixedModel

CROSSED = {"session": 0.8, "print": 0.5}


def nested(seed: int):
    """Unbalanced groups of 1 to 6 values, two fixed means."""
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, 7, 12)
    group = np.repeat(np.arange(12), sizes)
    fixed = (np.arange(12) % 2)[group]
    y = 3.0 * fixed + rng.standard_normal(12)[group] + 0.7 * rng.standard_normal(len(group))
    return y, fixed, group


def crossed(seed: int):
    """Cones in recipes, heard in sessions at random."""
    rng = np.random.default_rng(seed)
    cone = np.concatenate([np.arange(10), rng.integers(0, 10, 25)])
    recipe, session = cone // 3, rng.integers(0, 5, 35)
    y = 2.0 * recipe + CROSSED["session"] * rng.standard_normal(5)[session]
    y = y + CROSSED["print"] * rng.standard_normal(10)[cone] + 0.4 * rng.standard_normal(35)
    return y, recipe, {"session": pd.factorize(session)[0], "print": cone}


def peer(model: MixedLM, reml: bool):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        # Their first choice, L-BFGS, steps on a singular covariance for some of these designs.
        return model.fit(reml=reml, method=["bfgs", "powell"], maxiter=2000)


def dense(labels) -> np.ndarray:
    return np.asarray(labels[:, None] == np.unique(labels), dtype=float)


@pytest.mark.parametrize("restricted", [True, False])
@pytest.mark.parametrize("seed", range(8))
def test_one_effect_agrees_with_statsmodels(seed, restricted):
    y, fixed, group = nested(seed)
    fit = MixedModel(y, fixed, {"group": group}).fit(restricted)
    theirs = peer(MixedLM(y, dense(fixed), groups=group), restricted)
    assert fit.log_likelihood == pytest.approx(theirs.llf, abs=1e-5)
    assert fit.variances["group"] == pytest.approx(float(theirs.cov_re[0, 0]), rel=2e-3)
    assert fit.variances["residual"] == pytest.approx(theirs.scale, rel=2e-3)
    assert fit.means == pytest.approx(theirs.fe_params, rel=1e-3)
    # Where the two stop apart, ours is never the less likely.
    assert fit.log_likelihood >= theirs.llf - 1e-9


@pytest.mark.parametrize("seed", range(4))
def test_crossed_effects_agree_with_statsmodels(seed):
    y, recipe, random = crossed(seed)
    model = MixedModel(y, recipe, random)
    fit = model.fit()
    frame = pd.DataFrame({"y": y, "recipe": recipe, "one": 1, **random})
    parts = {"session": "0 + C(session)", "print": "0 + C(print)"}
    theirs = peer(
        MixedLM.from_formula("y ~ 0 + C(recipe)", frame, groups="one", vc_formula=parts), True
    )
    assert fit.log_likelihood == pytest.approx(theirs.llf, abs=2e-4)
    assert fit.log_likelihood >= theirs.llf - 1e-9
    names = list(theirs.model.exog_vc.names)
    for name in random:
        expected = theirs.vcomp[names.index(name)]
        assert fit.variances[name] == pytest.approx(expected, rel=0.03, abs=2e-3)
    # The likelihood itself, at their point, to the last digits.
    at = dict(zip(names, theirs.vcomp, strict=True)) | {"residual": theirs.scale}
    assert model.log_likelihood(at) == pytest.approx(theirs.llf, abs=1e-8)


def test_predicted_effects_agree_with_statsmodels():
    y, fixed, group = nested(1)
    model = MixedModel(y, fixed, {"group": group})
    fit = model.fit()
    ratio = np.array([[fit.variances["group"] / fit.variances["residual"]]])
    mean, variance = model.effects("group", ratio)
    theirs = peer(MixedLM(y, dense(fixed), groups=group), True)
    expected = [float(theirs.random_effects[label].iloc[0]) for label in range(12)]
    np.testing.assert_allclose(mean[0], expected, atol=2e-4)
    assert np.all(variance > 0)
    assert np.all(variance < ratio[0, 0] + 1e-12)


def test_effects_and_their_errors_solve_hendersons_equations():
    """Henderson (1950): with [X Z] and the ratios on the diagonal (from memory)."""
    y, recipe, random = crossed(2)
    model = MixedModel(y, recipe, random)
    ratios = np.array([1.7, 0.4])
    x, zs = dense(recipe), [dense(labels) for labels in random.values()]
    every = np.hstack([x, *zs])
    penalty = np.concatenate(
        [np.zeros(x.shape[1]), np.full(zs[0].shape[1], 1 / 1.7), np.full(zs[1].shape[1], 1 / 0.4)]
    )
    inverse = np.linalg.inv(every.T @ every + np.diag(penalty))
    solution = inverse @ every.T @ y
    start = x.shape[1]
    for name, z in zip(random, zs, strict=True):
        part = slice(start, start + z.shape[1])
        start += z.shape[1]
        mean, variance = model.effects(name, ratios[None, :])
        np.testing.assert_allclose(mean[0], solution[part], atol=1e-9)
        np.testing.assert_allclose(variance[0], np.diagonal(inverse)[part], atol=1e-9)
        pair = np.zeros((1, z.shape[1]))
        pair[0, :2] = 1.0, -1.0
        mean, variance = model.effects(name, ratios[None, :], pair)
        assert mean[0, 0] == pytest.approx(pair[0] @ solution[part])
        assert variance[0, 0] == pytest.approx(pair[0] @ inverse[part, part] @ pair[0])


def test_the_plain_likelihood_is_the_density_of_the_values():
    y, recipe, random = crossed(3)
    model, variances = MixedModel(y, recipe, random), {"session": 0.7, "print": 0.3}
    total = 0.2 * np.eye(len(y))
    for name, labels in random.items():
        total += variances[name] * dense(labels) @ dense(labels).T
    x, inverse = dense(recipe), np.linalg.inv(total)
    means = np.linalg.solve(x.T @ inverse @ x, x.T @ inverse @ y)
    density = stats.multivariate_normal(x @ means, total).logpdf(y)
    found = model.log_likelihood(variances | {"residual": 0.2}, restricted=False)
    assert found == pytest.approx(density, abs=1e-8)


@pytest.mark.parametrize("restricted", [True, False])
def test_slopes_against_finite_differences(restricted):
    y, recipe, random = crossed(4)
    model, ratios = MixedModel(y, recipe, random), np.array([0.6, 1.3])

    def value(point):
        return float(model._value(model.pieces(point[None, :], restricted), -0.5, restricted)[0])

    pieces = model.pieces(ratios[None, :], restricted)
    ours = -0.5 * (pieces.trace[0] - pieces.form[0] / np.exp(-0.5))
    np.testing.assert_allclose(ours, optimize.approx_fprime(ratios, value, 1e-6), atol=1e-4)


def test_the_information_is_the_curvature_that_is_expected():
    """Over values drawn from the model, the mean curvature of the likelihood."""
    _, recipe, random = crossed(5)
    at = {"session": 0.6, "print": 0.3, "residual": 0.2}
    rng = np.random.default_rng(0)
    curvature = []
    for _ in range(300):
        y = sum(
            np.sqrt(at[name]) * rng.standard_normal(labels.max() + 1)[labels]
            for name, labels in random.items()
        ) + np.sqrt(0.2) * rng.standard_normal(35)
        model, step = MixedModel(y, recipe, random), 1e-3
        values = [model.log_likelihood(at | {"residual": 0.2 + k * step}) for k in (-1, 0, 1)]
        curvature.append(-(values[0] - 2 * values[1] + values[2]) / step**2)
    assert model.information(at)[2, 2] == pytest.approx(np.mean(curvature), rel=0.1)


def test_profile_touches_the_maximum_and_nowhere_passes_it():
    y, recipe, random = crossed(6)
    model = MixedModel(y, recipe, random)
    fit = model.fit()
    for name, variance in fit.variances.items():
        touched = model.profile(name, variance, fit.variances)
        assert touched == pytest.approx(fit.log_likelihood, abs=1e-7)
        for factor in (0.3, 3.0):
            beside = model.profile(name, factor * max(variance, 0.01), fit.variances)
            assert beside < fit.log_likelihood


@pytest.mark.parametrize("name", ["session", "print", "residual"])
def test_profile_against_a_plain_search_over_the_other_two(name):
    y, recipe, random = crossed(7)
    model = MixedModel(y, recipe, random)
    fit = model.fit()
    held = 2.5 * max(fit.variances[name], 0.02)
    others = [other for other in fit.variances if other != name]

    def fall(logs):
        at = dict(zip(others, np.exp(logs), strict=True)) | {name: held}
        return -model.log_likelihood(at)

    start = np.log([max(fit.variances[other], 1e-3) for other in others])
    found = optimize.minimize(fall, start, method="Nelder-Mead", options={"fatol": 1e-10})
    assert model.profile(name, held, fit.variances) == pytest.approx(-found.fun, abs=1e-4)


@pytest.mark.parametrize("factor", [1e-9, 1.0, 1e9])
def test_units_shift_and_order_do_not_matter(factor):
    y, recipe, random = crossed(8)
    plain = MixedModel(y, recipe, random).fit()
    order = np.random.default_rng(0).permutation(len(y))
    moved = MixedModel(
        factor * (y[order] + 1000), recipe[order], {k: v[order] for k, v in random.items()}
    ).fit()
    for name, variance in plain.variances.items():
        assert moved.variances[name] / factor**2 == pytest.approx(variance, rel=1e-4, abs=1e-8)


def test_comparisons_are_counted():
    cones = np.array([0, 0, 1, 1, 2, 3])
    recipe, session = np.array([0, 0, 0, 0, 1, 1]), np.array([0, 1, 0, 1, 0, 0])
    model = MixedModel(np.arange(6.0), recipe, {"session": session, "print": cones})
    assert model.pure == 1
    assert model.comparisons("session") == 1
    assert model.comparisons("print", ("session",)) == 2
    assert model.tied("session").all()
    apart = MixedModel(np.arange(4.0), recipe[:4], {"session": np.array([0, 0, 1, 1])})
    assert apart.tied("session").all()
    lone = MixedModel(np.arange(4.0), np.array([0, 0, 1, 1]), {"session": np.array([0, 0, 1, 1])})
    assert not lone.tied("session").any()
    assert lone.comparisons("session") == 0


def test_values_that_do_not_vary_are_refused():
    with pytest.raises(ValueError, match="do not vary"):
        MixedModel(np.ones(4), np.zeros(4, dtype=int), {"group": np.array([0, 0, 1, 1])}).fit()
    with pytest.raises(ValueError, match="do not vary"):
        MixedModel(np.arange(3.0), np.arange(3), {}).fit()
