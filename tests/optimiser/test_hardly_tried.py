"""Levels that are not given up untried."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import pytest

from experiments.plan import Plan
from optimiser import dead_ends, fit, outlook, propose
from optimiser.answers import Pick
from optimiser.hardly_tried import hardly_tried
from optimiser.proposals import first_cones, most_promising
from tests.benchmarks.race_loop import run


def two_ways(**more: Any) -> Plan:
    """Two ways to make a cone, with a knob."""
    heat = {"kind": "continuous", "low": 0, "high": 1, "step": 0.01}
    way = {"kind": "choice", "levels": ["moulded", "wound"], "label": "Way"}
    return Plan.from_dict(
        {
            "name": "ways",
            "variables": {"way": {**way, **more.pop("way", {})}, "heat": heat},
            "metrics": {"y": {"from": "hand", "goal": "maximise"}, **more.pop("metrics", {})},
            **more,
        }
    )


def limited() -> Plan:
    """The same with a hard limit."""
    return two_ways(metrics={"mass": {"from": "hand", "goal": "watch", "limit": "< 5"}})


def refined(others: int = 2, seed: int = 0, **more: Any) -> pd.DataFrame:
    """Moulded cones close about their optimum, and a few poor wound ones."""
    heats = [0.0, 0.2, 0.4, 0.45, 0.48, 0.5, 0.5, 0.52, 0.55, 0.6, 0.8, 1.0]
    table = pd.DataFrame(
        {
            "way": ["moulded"] * len(heats) + ["wound"] * others,
            "heat": heats + [0.1, 0.9, 0.5, 0.3, 0.7][:others],
        }
    )
    noise = 0.05 * np.random.default_rng(seed).standard_normal(len(table))
    table["y"] = (
        np.where(table["way"] == "wound", 2.0, 10 - 8 * (table["heat"] - 0.5) ** 2) + noise
    )
    return table.assign(status="measured", cone=np.arange(1, len(table) + 1), **more)


def pick(plan: Plan, trials: pd.DataFrame, **more: Any) -> Pick:
    return propose(plan, trials, 1, 0, **more)[0]


def test_a_level_is_not_given_up_on_a_few_cones():
    found = pick(two_ways(), refined())
    assert found.settings["way"] == "wound"
    assert found.kind == "explore"
    assert found.why.startswith(
        "Elsewhere a cone gains too little to show, and Way wound has only 2 recipes so far, "
        "too few to give it up. Mostly to learn: "
    )
    assert "beside cone" in found.why
    assert "may beat" not in found.why


def test_on_a_plate_the_cones_before_it_are_what_leaves_little():
    before, found = propose(two_ways(), refined(), 2, 0)
    assert "only 2 recipes so far" in before.why
    assert found.why.startswith(
        "Beside the cones before it, one elsewhere gains too little to show, and Way wound has "
        "only 3 recipes so far, this plate's among them, "
    )


def test_enough_cones_settle_it():
    trials = refined(others=5)
    assert first_cones(two_ways()) == 4
    assert pick(two_ways(), trials).settings["way"] == "moulded"


def test_while_there_is_something_to_gain_the_model_chooses():
    trials = refined().query("way == 'wound' or heat <= 0.2 or heat >= 0.8")
    assert pick(two_ways(), trials).settings["way"] == "moulded"


def test_pending_and_picked_cones_count_as_tries():
    planned = pd.DataFrame({"way": "wound", "heat": [0.35, 0.65], "status": "planned"})
    trials = pd.concat([refined(), planned], ignore_index=True)
    assert pick(two_ways(), trials).settings["way"] == "moulded"
    ways = [each.settings["way"] for each in propose(two_ways(), refined(), 4, 0)]
    assert ways[:3] == ["wound", "wound", "moulded"]


@pytest.mark.parametrize(("heats", "tried"), [([0.3], True), ([0.2, 0.3, 0.5, 0.6, 0.8], False)])
def test_a_level_that_does_not_print_is_left_but_not_for_one_unlucky_cone(heats, tried):
    failed = pd.DataFrame({"way": "wound", "heat": heats, "status": "failed"})
    found = pick(two_ways(), pd.concat([refined(), failed], ignore_index=True))
    assert found.why.startswith("Elsewhere") == tried


def test_a_level_that_breaks_a_limit_is_left():
    trials = refined()
    light = trials.assign(mass=2.0 + 0.01 * trials["heat"])
    assert pick(limited(), light).settings["way"] == "wound"
    assert pick(limited(), light, keep={"way": "moulded"}).settings["way"] == "moulded"
    heavy = light.assign(mass=light["mass"] + 6.0 * (trials["way"] == "wound"))
    assert pick(limited(), heavy).settings["way"] == "moulded"
    for table, verdict in ((light, "undecided"), (heavy, "drop")):
        ends = dead_ends(limited(), table, 0)
        assert [v.verdict for v in ends.variants if v.where == "wound"] == [verdict]


def test_what_is_to_be_kept_is_kept():
    assert pick(two_ways(), refined(), keep={"way": "moulded"}).settings["way"] == "moulded"
    inside = pick(two_ways(), refined(), keep={"way": "wound"})
    assert inside.settings["way"] == "wound"
    assert "gains too little to show" not in inside.why
    kept = pick(two_ways(), refined(), keep={"heat": 0.25}).settings
    assert kept == {"way": "wound", "heat": 0.25}


def test_a_shortlist_is_chosen_from_and_given_as_it_is():
    listed = pd.DataFrame({"way": ["moulded", "wound", "wound"], "heat": [0.499, 0.123, 0.777]})
    found = pick(two_ways(), refined(), candidates=listed).settings
    assert found["way"] == "wound"
    assert found["heat"] in (0.123, 0.777)
    only = listed.query("way == 'moulded'")
    assert pick(two_ways(), refined(), candidates=only).settings["heat"] == 0.499


def test_a_plate_shares_its_settings_all_the_same():
    picks = propose(two_ways(way={"per": "plate"}), refined(), 3, 0)
    assert {each.settings["way"] for each in picks} == {"wound"}


def test_an_earlier_experiment_that_is_believed_counts():
    earlier = refined(others=5, seed=1)
    model = fit(two_ways(), refined(), 0, earlier=earlier)
    assert model.informed
    # The same recipes, but for three of wound cones.
    assert [level.tries for level in hardly_tried(model, 99)] == [5, 11]
    assert [level.tries for level in hardly_tried(fit(two_ways(), refined(), 0), 99)] == [2, 11]


def test_answers_that_close_a_level_say_that_it_was_hardly_tried():
    said = "Hardly tried: Way wound (2 recipes)."
    ends = dead_ends(two_ways(), refined(), 0)
    assert [v.verdict for v in ends.variants if v.where == "wound"] == ["undecided"]
    assert "wound" not in ends.text
    assert any(note.startswith(said) for note in ends.notes)
    settled = dead_ends(two_ways(), refined(others=5), 0)
    assert [v.verdict for v in settled.variants if v.where == "wound"] == ["drop"]
    ahead = outlook(two_ways(), refined(), 0)
    assert ahead.verdict in ("stop", "nearly there")
    assert any(note.startswith(said) for note in ahead.notes)
    # What is still to be gained is told by the best cone, not by the one that tries a level.
    model = fit(two_ways(), refined(), 0)
    best, tried = most_promising(model, 0), pick(two_ways(), refined())
    assert (best.settings["way"], tried.settings["way"]) == ("moulded", "wound")
    assert ahead.gain.mean > 0.5 * ahead.plate.mean / 4
    for answer in (dead_ends, outlook):
        notes = answer(two_ways(), refined(others=5), 0).notes
        assert not any("Hardly tried" in note for note in notes)


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 10])
def test_the_way_that_holds_the_best_is_found_in_the_race(seed):
    # Its first cones read low: without this rule no later one of 40 went there.
    assert min(run("forked", "ours", seed, 40)["regrets"]) < 0.1
