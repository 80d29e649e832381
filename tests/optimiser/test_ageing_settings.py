"""Which settings change the drift."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from optimiser.ageing_model import AgeModel
from optimiser.ageing_rows import CLOCKS, keep
from optimiser.ageing_settings import compare_settings
from optimiser.repeats import hear
from tests import kept_cones
from tests.studies import repeats

PLAN = kept_cones.plan()


def compared(**design):
    shelf = kept_cones.draw(**design)
    part = keep(hear(PLAN, shelf.trials), "level", CLOCKS["light_hours"])
    recipes = shelf.trials.drop_duplicates("cone").set_index(
        shelf.trials.drop_duplicates("cone")["cone"].astype(str)
    )
    return compare_settings(AgeModel(part), recipes.loc[part.cones], dict(PLAN.variables), "dB")


def test_a_setting_that_slows_the_drift_is_told_with_its_size():
    found = compared(cones=8, by_process=2.0, drift=-3.0, spread=0.1)
    process = next(each for each in found if each.variable == "process")
    assert process.contrast == "process filament against resin"
    assert process.told
    assert process.effect.low < 2.0 < process.effect.high
    assert process.effect.cones == 8
    assert process.text.endswith("to the drift")
    assert not next(each for each in found if each.variable == "wall").told


def test_what_cannot_be_told_says_how_many_more_cones_would():
    found = compared(cones=6, by_process=0.3, drift=-3.0, spread=0.4, seed=2)
    process = next(each for each in found if each.variable == "process")
    assert not process.told
    assert "cannot tell yet" in process.text


def test_below_four_cones_nothing_is_compared():
    assert compared(cones=3) == []


TABLES = repeats(120)


@pytest.mark.slow
def test_settings_that_do_nothing_are_seldom_told():
    tables = [compared(cones=6, seed=seed) for seed in range(TABLES)]
    share = float(np.mean([any(each.told for each in found) for found in tables]))
    print(f"a setting that does nothing is told in {share:.3f} of the tables")
    # One in ten as documented, and 1.7 standard errors.
    assert share <= 0.1 + 0.5 / TABLES**0.5


def test_three_levels_are_each_set_against_the_others():
    plan = kept_cones.plan(
        variables={"resin": {"kind": "choice", "levels": ["clear", "tough", "stiff"]}}
    )
    shelf = kept_cones.draw(cones=6, dark=0)
    words = np.array(["clear", "tough", "stiff"])
    trials = shelf.trials.assign(resin=words[shelf.trials["cone"].to_numpy() % 3])
    part = keep(hear(plan, trials), "level", CLOCKS["light_hours"])
    first = trials.drop_duplicates("cone")
    recipes = pd.DataFrame({"resin": first["resin"].to_numpy()}, index=part.cones)
    found = compare_settings(AgeModel(part), recipes, dict(plan.variables), "dB")
    assert [each.contrast for each in found] == [
        "resin clear against the other", "resin stiff against the other",
        "resin tough against the other",
    ]  # fmt: skip
    assert all(math.isfinite(each.effect.mean) for each in found)
