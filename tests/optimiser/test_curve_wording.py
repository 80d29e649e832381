"""Foretold curves in words: trust, agreement, smeared peaks."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest

from optimiser.curve_wording import tell_checks, tell_expectation
from optimiser.records.estimates import UNTOLD, Estimate
from optimiser.records.expectations import Agreement, CurveBand, CurveCheck, Expectation
from tests.curve_workshops import known_plan

CHECK = CurveCheck("response", 24, 0.93, 1.66, 1.3, 2.15, 0.94, 2, 0.9, pd.DataFrame())
NAN = float("nan")
ANSWER = Expectation(
    {}, None, NAN, {"level": Estimate(80.0, 79.0, 81.0, 24)}, {}, Estimate(80.0, 79.0, 81.0, 24),
    NAN, {"response": CurveBand("response", *[None] * 6)}, [], [CHECK], 24, "",
)  # fmt: skip


def said(answer):
    return tell_expectation(known_plan(), answer).replace("\N{NO-BREAK SPACE}", " ")


def test_misses_are_told_against_prints_of_one_recipe():
    told = tell_checks([CHECK]).replace("\N{NO-BREAK SPACE}", " ")
    assert told == (
        "Each of 24 cones foretold without itself, the miss is: response 1.7 dB rms against "
        "0.9 dB between prints of one recipe, 93 % of points inside."
    )
    alone = tell_checks([replace(CHECK, pairs=0, prints=NAN)])
    assert "between prints" not in alone and "nan" not in alone  # noqa: PT018
    assert tell_checks([replace(CHECK, name="hd3")]) == ""


def test_what_is_not_foretold_is_named():
    poor = replace(CHECK, name="decay", error=2.0)
    assert "Not foretold yet" not in tell_checks([CHECK])
    assert tell_checks([CHECK, poor]).endswith(
        "Not foretold yet, hardly better than by the mean of the other cones: decay; believe the "
        "bands, not the curves."
    )


@pytest.mark.parametrize(
    ("middle", "mean", "wanted", "unwanted"),
    [
        (80.4, 80.3, "these agree with what is foretold: level.", "smeared"),
        (83.0, 83.0, "level reads 83.0 dB from the middle curve, where its own model", "agree"),
        (80.4, 78.0, "The mean curve reads otherwise (level 78.0 dB for 80.4)", "trust"),
        (NAN, 80.0, "one new measurement", "Read from"),
    ],
)
def test_agreement_of_metrics_is_told_either_way(middle, mean, wanted, unwanted):
    one = Agreement("level", "level", "dB", ANSWER.expected["level"], middle, mean)
    told = said(replace(ANSWER, agreements=[one]))
    assert wanted in told
    assert unwanted not in told


def test_nothing_known_is_said_plainly():
    none = replace(ANSWER, score=UNTOLD, curves={}, checks=[], cones=1)
    assert said(none) == (
        "From 1 measured cone no level can be foretold yet. Of whole curves nothing can be told "
        "yet."
    )
