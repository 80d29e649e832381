"""What a plate's cones share, and set-up between cones."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from experiments.errors import TrialsError
from experiments.plan import Plan
from experiments.space import Space
from optimiser import propose
from optimiser.plates import Plate, SetUp, set_up, set_up_minutes


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
    space = Space(plan)
    rows = space.rows(
        [
            {"process": "resin", "layer": 0.1, "wall": 0.8, "dip": "clear"},
            {"process": "filament", "layer": 0.1, "wall": 0.8, "nozzle": 195},
            {"process": "resin", "layer": 0.2, "wall": 0.9, "dip": "stiff"},
        ]
    )
    resin, filament, stiff = space.codes(rows)
    assert set_up(space, resin, resin) == SetUp(0.0, [])
    assert set_up(space, resin, filament) == SetUp(25.0, ["process"])
    assert set_up(space, resin, stiff) == SetUp(10.0, ["dip"])
    assert set_up_minutes(space, resin, space.codes(rows)).tolist() == [0, 25, 10]


def test_a_picks_effort_includes_set_up(plan):
    table, space = trials(plan, 12), Space(plan)
    pick, second = propose(plan, table, count=2, seed=0)
    before, after = space.codes(table.iloc[[-1]])[0], space.codes(space.rows([pick.settings]))[0]
    assert pick.set_up == set_up(space, before, after).minutes
    assert pick.minutes == pytest.approx(60 * pick.settings["wall"] + pick.set_up)
    assert second.set_up == 0  # the same plate


@pytest.mark.parametrize("measured", [0, 12])
def test_settings_to_keep_are_kept(plan, measured):
    picks = propose(plan, trials(plan, measured), count=3, seed=0, keep={"dip": "stiff"})
    assert [pick.settings["dip"] for pick in picks] == ["stiff"] * 3
    assert {pick.settings["process"] for pick in picks} == {"resin"}
    (wall,) = propose(plan, trials(plan, measured), seed=0, keep={"wall": 0.7})
    assert wall.settings["wall"] == pytest.approx(0.7)


def test_a_shortlist_is_narrowed_to_what_is_kept(plan):
    shortlist = Space(plan).sample(40, seed=3)
    picks = propose(
        plan, trials(plan, 8), count=2, seed=0, candidates=shortlist, keep={"process": "filament"}
    )
    assert {pick.settings["process"] for pick in picks} == {"filament"}


@pytest.mark.parametrize(
    ("keep", "said"),
    [
        ({"colour": "red"}, "unknown variable"),
        ({"dip": "clera"}, "clear"),
        ({"wall": 0.72}, "Nearest"),
        ({"process": "filament", "dip": "clear"}, "process resin: only then is there dip"),
        (
            {"dip": "clear", "nozzle": 195},
            "dip, which needs process resin and nozzle, which needs",
        ),
        ({"wall": 0.4, "layer": 0.8}, "printable recipe"),
    ],
)
def test_what_cannot_be_kept_is_refused(plan, keep, said):
    with pytest.raises(TrialsError, match=said):
        propose(plan, trials(plan, 8), seed=0, keep=keep)


def test_gain_by_the_minute_prefers_cheap_recipes(plan):
    """A thick wall is better and takes longer; set-up costs more than any print."""
    dear = Plan.from_dict(
        {**plan.to_dict(), "effort": {"minutes": "1 + 5000 * (wall - 0.4) ** 3"}}
    )
    table = trials(plan, 8)
    for_gain = propose(dear, table, seed=0)[0]
    for_time = propose(dear, table, seed=0, per="minutes")[0]
    assert for_time.minutes < for_gain.minutes
    with pytest.raises(TrialsError, match="no formula"):
        propose(plan, table, per="money")
    with pytest.raises(ValueError, match="'hours'"):
        propose(plan, table, per="hours")


def test_the_first_cone_needs_no_set_up_that_is_known(plan):
    pick = propose(plan, trials(plan, 0), seed=0)[0]
    assert np.isnan(pick.set_up)
    assert pick.minutes == pytest.approx(60 * pick.settings["wall"])
