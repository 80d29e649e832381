"""The recommendation in plain sentences."""

from __future__ import annotations

import dataclasses
from types import SimpleNamespace

import pytest

from optimiser.answers import Estimate
from optimiser.goals import Goals
from optimiser.production_words import (
    cannot_tell,
    confirmation_text,
    hinge_text,
    recommendation_text,
)
from optimiser.records.production import Hinge, LimitProof
from tests import answers
from tests.optimiser.figures.test_production import NAN, recommendation

PLAN = answers.plan()
MODEL = SimpleNamespace(plan=PLAN, goals=Goals(PLAN), cones=24)
RUN = recommendation().confirmation


def plain(text):
    return text.replace("\N{NO-BREAK SPACE}", " ")


def told(**changes):
    given = dataclasses.replace(recommendation(), within={0.05: 0.8}, **changes)
    return plain(recommendation_text(MODEL, given))


def test_recipe_standing_rival_and_cost_are_said():
    unmeasured = told(cost=Estimate(0.05, 0.02, 0.08), gain=Estimate(0.14, 0.1, 0.2))
    assert "Put into production: process resin, wall 0.6 mm, cure time 12 min" in unmeasured
    assert "No cone of just this recipe has been measured" in unmeasured
    assert "the best measured recipe (cone 12), which is the better one with" in unmeasured
    assert "robustness costs 0.05 (0.02 to 0.08)" in unmeasured
    own = dataclasses.replace(recommendation().recipe, cones=["4", "9"])
    assert "It was measured: cones 4, 9." in told(recipe=own)


def test_a_better_measured_recipe_that_was_passed_over_is_told_with_the_reason():
    given = recommendation()
    recipe = dataclasses.replace(given.recipe, cones=["4"], sound=0.81)
    better = dataclasses.replace(
        next(each for each in given.others if each.role == "best measured"),
        behind=Estimate(-0.02, -0.05, 0.01), sound=0.77, cones=["6"],
    )  # fmt: skip
    expected = "Cone 6 was passed over: its score is expected to be 0.02 (-0.01 to 0.05) better"
    for cones, start in ((["4"], "It was measured: cone 4."), ([], "No cone of just this recipe")):
        text = told(recipe=dataclasses.replace(recipe, cones=cones), others=[better])
        assert start in text
        assert f"{expected}, but only 77 % of its prints are expected to come off the" in text
        assert "where 80 % is asked for." in text
    off_steps = dataclasses.replace(better, sound=0.9)
    assert "but it lies off the steps or rules of the plan." in told(
        recipe=recipe, others=[off_steps]
    )


def test_the_best_it_is_held_against_is_named_for_what_it_is():
    assert "within 5 % of the best recipe fit for production with probability 80 %" in told()
    unfit = dataclasses.replace(recommendation().recipe, sound=0.3)
    assert "of the best one nearly as likely to be with probability" in told(recipe=unfit)


def test_what_strays_too_far_and_what_is_not_fit_is_said():
    assert "By the tolerance" not in told()
    assert "By the tolerance some of its prints will lie across a rule (40 %):" in told(
        over_rules=0.4
    )
    unfit = dataclasses.replace(recommendation().recipe, sound=0.3, limits={"decay": 0.3})
    text = told(recipe=unfit, kept=Estimate(0.3, 0.1, 0.6))
    assert text.startswith("No recipe is fit for production yet")
    assert "this one, with 30 % where 80 % is asked for, comes nearest" in text
    assert "Of its prints 30 % (10 % to 60 %) keep every hard limit" in text


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "A true score of 0.550 is what the runner-up is expected to reach."),
        ({"decides": False, "fails": 0.2}, "(this one fails such a recipe with 20 %)"),
        ({"decides": False, "fails": NAN, "rival": NAN}, "There is no runner-up to tell it from"),
        ({"proves": False}, "is likely to prove that the limits are kept."),
    ],
)
def test_what_a_run_can_tell_is_said(changes, said):
    text = plain(confirmation_text(MODEL, dataclasses.replace(RUN, **changes)))
    assert "print and measure 5 cones of it; their mean score must be at least 0.580" in text
    assert "if its true score is 0.550 or less, they fail with 95 %" in text
    assert said in text
    assert "nan" not in text


def test_a_limit_s_proof_is_said():
    proof = LimitProof("decay", "<= 5", True, 3.407, 2.2, 0.9)
    text = plain(confirmation_text(MODEL, dataclasses.replace(RUN, limits=[proof])))
    assert "the mean logarithm of decay must keep the limit <= 5 ms by 3.41 standard" in text
    assert "if only nine of ten prints keep a limit, they fail with 95 %" in text


def test_a_hinge_names_metric_recipe_and_side():
    hinge = Hinge("decay", "runner-up", 1.8, False, Estimate(2.0, 1.5, 2.5, 24), 0.3)
    text = plain(hinge_text(MODEL, hinge))
    assert "if the true one of the runner-up is below 1.8 ms" in text
    assert "probability 30 %" in text
    above = dataclasses.replace(hinge, role="recommended", above=True)
    assert "of the recommended recipe is above" in hinge_text(MODEL, above)


def test_too_few_cones_say_how_many_more():
    assert "24 measured cones; about 1 more cone with a score" in cannot_tell(MODEL, 1)
