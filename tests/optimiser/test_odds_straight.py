"""Log odds that are straight lines, against scikit-learn's logistic regression and classifier."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import integrate, special
from sklearn.gaussian_process import GaussianProcessClassifier
from sklearn.gaussian_process.kernels import ConstantKernel, DotProduct
from sklearn.linear_model import LogisticRegression

from experiments.plan import Plan
from experiments.space import Space
from optimiser.encoding import Encoding, Points
from optimiser.odds_straight import StraightOdds
from optimiser.printability import Printability
from tests.functions import unit_plan

SPREAD, CONSTANT, MEAN = 9.0, 4.0, 0.7


def only(encoding: Encoding, spread: float = SPREAD, constant: float = CONSTANT) -> StraightOdds:
    """Suppose one thing: every knob counts as much."""
    inputs = len(encoding.inputs)
    return StraightOdds(
        encoding, np.array([1.0]), np.full((1, inputs), spread), np.array([constant])
    )


@pytest.fixture(scope="module")
def space() -> Space:
    return Space(unit_plan("three", 3))


@pytest.fixture(scope="module")
def prints(space):
    frame = space.sample(40, seed=1)
    rng = np.random.default_rng(3)
    odds = 6 * frame["x1"].to_numpy() - 4 * frame["x3"].to_numpy()
    return frame, (rng.random(len(frame)) < special.expit(odds)).astype(float)


def test_the_most_probable_weights_are_a_ridge_regressions(space, prints):
    """`LogisticRegression` penalises half the sum of squares; it cannot hold the mean fixed."""
    frame, labels = prints
    encoding = Encoding(space)
    supposed = only(encoding, constant=SPREAD)
    learnt = supposed.learn(encoding(frame), labels, np.zeros(len(labels)))
    peer = LogisticRegression(C=1.0, fit_intercept=False, tol=1e-10, max_iter=1000)
    peer.fit(supposed.design(encoding(frame))[0], labels)
    np.testing.assert_allclose(learnt.weights[0], peer.coef_[0], atol=1e-5)


def test_chances_and_evidence_are_those_of_a_classifier_with_a_straight_kernel(space, prints):
    """The same Laplace approximation, over functions instead of weights."""
    frame, labels = prints
    encoding = Encoding(space)
    learnt = only(encoding).learn(encoding(frame), labels, np.zeros(len(labels)))
    kernel = ConstantKernel(SPREAD) * DotProduct(np.sqrt(CONSTANT / SPREAD))
    peer = GaussianProcessClassifier(kernel, optimizer=None)
    peer.fit(frame.to_numpy() - 0.5, labels)
    assert learnt.evidence[0] == pytest.approx(peer.log_marginal_likelihood_value_, rel=1e-6)
    query = space.sample(60, seed=9)
    theirs = peer.predict_proba(query.to_numpy() - 0.5)[:, 1]
    mean, sd = learnt.log_odds(encoding(query), 0.0)
    ours = special.expit(mean[0][:, None] + sd[0][:, None] * np.linspace(-5, 5, 401))
    weights = np.exp(-0.5 * np.linspace(-5, 5, 401) ** 2)
    # scikit-learn's integral of the logistic function is an approximation, good to about 0.005.
    np.testing.assert_allclose(ours @ weights / weights.sum(), theirs, atol=0.01)


def test_the_evidence_is_near_the_integral():
    """One knob, one weight besides a constant that is nearly nothing: scipy's quadrature."""
    space = Space(unit_plan("one", 1))
    encoding = Encoding(space)
    frame = space.sample(25, seed=4)
    labels = (frame["x1"] > 0.4).to_numpy(dtype=float)
    learnt = only(encoding, 16.0, 1e-12).learn(encoding(frame), labels, np.full(25, MEAN))
    centred = frame["x1"].to_numpy() - 0.5

    def density(weight: float) -> float:
        odds = MEAN + 4.0 * weight * centred
        likelihood = -np.logaddexp(0, np.where(labels > 0, -odds, odds)).sum()
        return float(np.exp(likelihood - 0.5 * weight**2) / np.sqrt(2 * np.pi))

    exact = np.log(integrate.quad(density, -10, 30, points=[0, 3, 6])[0])
    assert learnt.evidence[0] == pytest.approx(exact, abs=0.05)


def test_the_climb_ends_at_the_top_however_steep(space):
    """Prints that a line parts exactly, many of them, and a prior that hardly holds it."""
    encoding = Encoding(space)
    frame = space.sample(300, seed=2)
    labels = (frame["x1"] > 0.1).to_numpy(dtype=float)
    supposed = only(encoding, 1e6, 1e6)
    learnt = supposed.learn(encoding(frame), labels, np.full(300, 5.0))
    design = supposed.design(encoding(frame))[0]
    slope = design.T @ (labels - special.expit(5.0 + design @ learnt.weights[0]))
    np.testing.assert_allclose(slope - learnt.weights[0], 0.0, atol=1e-4)
    assert np.isfinite(learnt.evidence[0])


@pytest.fixture(scope="module")
def forked_plan() -> Plan:
    return Plan.from_dict(
        {
            "name": "ways",
            "variables": {
                "way": {"kind": "choice", "levels": ["light", "heat"]},
                "wall": {"kind": "continuous", "low": 0, "high": 1, "step": 0.01},
                "time": {
                    "kind": "continuous", "low": 0, "high": 10, "step": 0.1,
                    "only_when": {"way": ["light"]},
                },
            },
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )  # fmt: skip


def test_a_knob_that_is_not_there_moves_nothing(forked_plan):
    space = Space(forked_plan)
    encoding = Encoding(space)
    frame = space.sample(60, seed=1)
    here = frame["time"].notna().to_numpy()
    failed = here & (frame["time"] < 4).to_numpy()
    model = Printability(encoding).fit(encoding(frame[~failed]), encoding(frame[failed]))
    query = space.sample(200, seed=7)
    chance = model(encoding(query))
    here = query["time"].notna().to_numpy()
    assert chance[~here].min() > 0.85
    assert chance[here & (query["time"] < 2).to_numpy()].max() < 0.25
    assert chance[here & (query["time"] > 7).to_numpy()].min() > 0.85


def test_a_limit_of_two_knobs_is_foretold_where_nothing_was_printed():
    """Failures below x1 + x2 = 0.7 amid the other knobs tell of their corners as well."""
    space = Space(unit_plan("six", 6))
    encoding = Encoding(space)
    frame = space.sample(800, seed=5)
    both = frame["x1"] + frame["x2"]
    others = (frame[[f"x{place}" for place in range(3, 7)]] - 0.5).abs()
    middle = (others < 0.35).all(axis=1)
    printed, failed = frame[middle & (both >= 0.7)][:20], frame[middle & (both < 0.7)][:8]
    low = frame[(both < 0.4) & ((others > 0.35).sum(axis=1) >= 2)]
    assert len(failed) == 8
    assert len(low) > 15
    chances = {}
    for name, steepness in {"with": (16.0, 64.0, 256.0), "without": ()}.items():
        model = Printability(encoding, steepness=steepness)
        chances[name] = model.fit(encoding(printed), encoding(failed))(encoding(low)).mean()
    assert chances["with"] < 0.25
    assert chances["with"] < 0.7 * chances["without"]


def test_prints_that_fail_at_both_ends_of_a_knob_are_learnt_all_the_same():
    space = Space(unit_plan("three", 3))
    encoding = Encoding(space)
    frame = space.sample(60, seed=5)
    failed = (np.abs(frame["x2"] - 0.5) > 0.3).to_numpy()
    model = Printability(encoding).fit(encoding(frame[~failed]), encoding(frame[failed]))
    query = space.sample(300, seed=6)
    chance = model(encoding(query))
    away = np.abs(query["x2"] - 0.5).to_numpy()
    assert chance[away < 0.15].mean() > 0.85
    assert chance[away > 0.4].mean() < 0.25


def test_names_and_order_of_levels_do_not_matter(forked_plan):
    space = Space(forked_plan)
    encoding = Encoding(space)
    points = encoding(space.sample(30, seed=1))
    other = Points(points.numbers, np.where(points.levels < 2, 1 - points.levels, points.levels))
    labels = (points.levels[:, 0] == 0).astype(float)
    supposed = StraightOdds.supposed(encoding, (16.0,))
    found = [supposed.learn(each, labels, np.full(30, MEAN)).evidence for each in (points, other)]
    np.testing.assert_allclose(*found)


def test_an_earlier_experiment_that_is_alike_moves_the_lines_and_another_does_not(space):
    encoding = Encoding(space)
    ours, theirs = space.sample(6, seed=1), space.sample(60, seed=2)
    fell = (theirs["x1"] < 0.3).to_numpy()
    points = encoding(ours).of_experiment(0) + encoding(theirs).of_experiment(1)
    labels = np.concatenate([np.ones(6), np.where(fell, 0.0, 1.0)])
    supposed = only(encoding).with_origin()
    mean = np.full(66, 1.0)
    alike, unlike = supposed.learn(points, labels, mean).log_odds(
        encoding(space.sample(50, seed=3)).of_experiment(0), 1.0
    )[0]
    alone, _ = (
        only(encoding)
        .learn(encoding(ours), np.ones(6), np.full(6, 1.0))
        .log_odds(encoding(space.sample(50, seed=3)), 1.0)
    )
    np.testing.assert_allclose(unlike, alone[0], atol=1e-8)
    low = (space.sample(50, seed=3)["x1"] < 0.15).to_numpy()
    assert alike[low].max() < alone[0][low].min() - 1.0


@pytest.mark.parametrize(("count", "supposed"), [(1, 2), (2, 4), (3, 7), (24, 301), (25, 26)])
def test_all_knobs_one_and_two_are_supposed_to_be_to_blame(count, supposed):
    found = StraightOdds.supposed(Encoding(Space(unit_plan("many", count))), (16.0,))
    assert len(found) == supposed
    assert found.belief.sum() == pytest.approx(2 + (2 <= count <= 24))
    assert found.spread.max(axis=1).min() == pytest.approx(16 / count)


def test_a_plan_without_a_knob_has_its_rate_all_the_same():
    plan = Plan.from_dict(
        {
            "name": "one way",
            "variables": {"resin": {"kind": "choice", "levels": ["clear"]}},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
        }
    )
    encoding = Encoding(Space(plan))
    frame = Space(plan).sample(1, seed=0)
    many = encoding(frame.loc[[0] * 20])
    (chance,) = Printability(encoding).fit(many, many)(encoding(frame))
    assert chance == pytest.approx(0.5, abs=0.06)
