"""What a plate's cones share, and set-up between cones."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from experiments.space import Space
from optimiser import propose
from optimiser.plates import Plate, set_up


@pytest.fixture(scope="module")
def plan() -> Plan:
    return Plan.from_dict(
        {
            "name": "plates",
            "variables": {
                "process": {
                    "kind": "choice",
                    "levels": ["resin", "filament"],
                    "per": "plate",
                    "setup_minutes": 25,
                },
                "layer": {"kind": "continuous", "low": 0, "high": 1, "per": "plate"},
                "wall": {"kind": "continuous", "low": 0.4, "high": 1.2, "step": 0.1},
                "dip": {
                    "kind": "choice",
                    "levels": ["clear", "stiff"],
                    "per": "plate",
                    "setup_minutes": 10,
                    "only_when": {"process": ["resin"]},
                },
                "nozzle": {
                    "kind": "integer",
                    "low": 190,
                    "high": 200,
                    "only_when": {"process": ["filament"]},
                },
            },
            "rules": {"thick_enough": "wall >= 0.5 if layer > 0.5 else wall <= 1.1"},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}},
            "effort": {"minutes": "60 * wall"},
        }
    )


def trials(plan: Plan, count: int) -> pd.DataFrame:
    recipes = Space(plan).sample(count, seed=1)
    y = recipes["wall"] + (recipes["process"] == "resin")
    return recipes.assign(y=y, status="measured", cone=np.arange(1, count + 1))


def test_recipes_moved_onto_a_plate_share_its_settings_and_can_be_printed(plan):
    space = Space(plan)
    codes = space.sample_codes(300, seed=2)
    plate = Plate(space)
    np.testing.assert_array_equal(plate.onto(codes), codes)
    first = codes[codes[:, 3] >= 0][0]
    plate.take(first)
    moved = plate.onto(codes)
    assert len(moved) > 5
    assert space.printable_codes(moved).all()
    assert plate.holds(moved).all()
    np.testing.assert_array_equal(np.unique(moved[:, [0, 1, 3]], axis=0), [first[[0, 1, 3]]])
    assert len(np.unique(moved[:, 2])) > 3  # the wall is each cone's own
    assert len(np.unique(moved, axis=0)) == len(moved)


@pytest.mark.parametrize("measured", [0, 12])
def test_cones_of_one_call_share_a_plate(plan, measured):
    picks = propose(plan, trials(plan, measured), count=4, seed=0)
    assert len(picks) == 4
    recipes = [tuple(sorted(pick.settings.items())) for pick in picks]
    assert len(set(recipes)) == 4
    for name in ("process", "layer", "dip"):
        assert len({pick.settings.get(name) for pick in picks}) == 1
    assert len({pick.settings["wall"] for pick in picks}) > 1


def test_a_shortlist_gives_fewer_when_no_other_recipe_shares_the_plate(plan):
    recipes = Space(plan).sample(40, seed=3)
    resin = recipes[recipes["process"] == "resin"].iloc[:1]
    filament = recipes[recipes["process"] == "filament"].iloc[:1]
    shortlist = pd.concat([resin, filament], ignore_index=True)
    assert len(propose(plan, trials(plan, 8), count=2, candidates=shortlist)) == 1


def test_set_up_counts_what_changes_from_the_cone_before(plan):
    before = pd.Series({"process": "resin", "layer": 0.1, "dip": "clear", "nozzle": np.nan})
    same = set_up(
        plan, before.copy().reindex(list(plan.variables)), before.reindex(plan.variables)
    )
    assert (same.minutes, same.variables) == (0, [])
    other = pd.Series({"process": "filament", "layer": 0.1, "dip": None, "nozzle": 195})
    found = set_up(plan, before.reindex(plan.variables), other.reindex(plan.variables))
    assert (found.minutes, found.variables) == (25, ["process"])
    dip = before.copy()
    dip["dip"] = "stiff"
    found = set_up(plan, before.reindex(plan.variables), dip.reindex(plan.variables))
    assert (found.minutes, found.variables) == (10, ["dip"])


def test_a_picks_effort_includes_set_up(plan):
    table = trials(plan, 12)
    pick = propose(plan, table, seed=0)[0]
    last = table.iloc[-1]
    assert (
        pick.set_up == set_up(plan, last, pd.Series(pick.settings).reindex(plan.variables)).minutes
    )
    assert pick.minutes == pytest.approx(60 * pick.settings["wall"] + pick.set_up)
    assert pick.set_up > 0 or not pick.set_ups
    second = propose(plan, table, count=2, seed=0)[1]
    assert second.set_up == 0  # the same plate


def test_the_first_cone_needs_no_set_up_that_is_known(plan):
    pick = propose(plan, trials(plan, 0), seed=0)[0]
    assert np.isnan(pick.set_up)
    assert pick.minutes == pytest.approx(60 * pick.settings["wall"])
