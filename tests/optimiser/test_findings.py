"""The report's answers are those of the verbs."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from experiments.ledger import Ledger
from optimiser import dead_ends, fit, front, optimum, recommend
from optimiser.comparing import compare_levels
from optimiser.drift import rig_drift
from optimiser.findings import gather_findings
from optimiser.gathering import coming_cones
from optimiser.spread import estimate_spread

PLAN = """
name = "shelf speaker"

[variables.wall]
kind = "continuous"
low = 0.3
high = 1.2
step = 0.1

[variables.process]
kind = "choice"
levels = ["resin", "filament"]

[metrics.loss]
from = "hand"
goal = "minimise"
poor = 10
good = 1

[sessions]
reference_cone = 1
"""

TRADED = f"""
goal = "trade"
{PLAN}
[metrics.near]
from = "hand"
goal = "target"
good = 5
poor = 5
"""


@pytest.fixture(scope="module")
def speaker(tmp_path_factory):
    folder = tmp_path_factory.mktemp("found") / "speaker"
    with Ledger.create(folder, PLAN, who="tester") as opened:
        for number in range(1, 7):
            process = "resin" if number % 2 else "filament"
            opened.add({"wall": 0.2 + 0.1 * number, "process": process})
            opened.measure(number, session="may", values={"loss": 4.0 + 0.5 * number})
        opened.measure(1, session="june", values={"loss": 4.6})
        opened.add({"wall": 1.2, "process": "resin"}, status="failed", why="tore off")
        opened.add({"wall": 0.3, "process": "resin"})
        opened.set_aside(8, why="dropped")
    return folder


@pytest.fixture
def ledger(speaker, tmp_path: Path):
    """A copy that a test may change."""
    with Ledger.open(shutil.copytree(speaker, tmp_path / "speaker"), who="tester") as opened:
        yield opened


@pytest.fixture(scope="module")
def gathered(speaker):
    """The model, the findings, and the shares that were told meanwhile."""
    told: list[float] = []
    with Ledger.open(speaker) as ledger:
        model = fit(ledger.plan, ledger.table(), seed=3)
        found = gather_findings(ledger, model, 3, progress=lambda share, _: told.append(share))
    return model, found, told


def test_they_are_what_the_verbs_say(ledger, gathered):
    plan, trials = ledger.plan, ledger.table()
    model, found, told = gathered
    (wall,) = found.optima
    assert wall.text == optimum(plan, trials, variable="wall", seed=3, model=model).text
    assert found.dead_ends is not None
    assert found.dead_ends.text == dead_ends(plan, trials, seed=3, model=model).text
    levels = compare_levels(plan, trials, 3, model=model)
    assert [each.text for each in found.levels] == [each.text for each in levels]
    assert found.spread is not None
    assert found.spread.text == estimate_spread(plan, trials).text
    assert found.drift is not None
    assert found.drift.text == rig_drift(plan, ledger.wide_table()).text
    assert found.recommendation is not None
    assert found.recommendation.text == recommend(plan, trials, 3, model=model).text
    assert found.front is None
    assert found.foretold is None  # nothing is to come
    assert found.ageing == []  # no cone was heard at two ages
    assert told == sorted(told)


def test_the_next_cone_s_curves_are_foretold_and_kept_cones_compared(ledger):
    for age in (0, 100, 300):
        ledger.measure(
            1, session=f"later {age}", values={"loss": 4.0 + age / 300}, light_hours=age
        )
    plan, trials = ledger.plan, ledger.table()
    model = fit(plan, trials, seed=3)
    coming = coming_cones(ledger, model, 3)
    found = gather_findings(ledger, model, 3, coming=coming)
    assert found.foretold is not None
    assert found.foretold.settings == coming[0].pick.settings
    assert found.foretold.expected.keys() == plan.metrics.keys()
    (kept,) = found.ageing
    assert kept.by == "light_hours"
    assert kept.cones == 1


def test_a_plan_that_trades_tells_its_front(tmp_path: Path):
    with Ledger.create(tmp_path / "speaker", TRADED, who="tester") as ledger:
        for number in range(1, 6):
            ledger.add({"wall": 0.2 + 0.1 * number, "process": "resin"})
            values = {"loss": 4.0 + 0.5 * number, "near": 2.0 + 0.4 * number}
            ledger.measure(number, session="may", values=values)
        plan, trials = ledger.plan, ledger.table()
        model = fit(plan, trials, seed=3)
        found = gather_findings(ledger, model, 3).front
    assert found == front(plan, trials, seed=3, model=model)
    assert len(found.members) == 5


def test_another_cone_of_the_leader_scatters_more_than_its_recipe(gathered):
    model, found, _ = gathered
    again, leader = found.again, model.leader()
    assert again is not None
    assert leader is not None
    assert again.high - again.low > leader.score.high - leader.score.low


def test_lost_cones_come_with_their_reasons(gathered):
    assert [(each.cone, each.status, each.why) for each in gathered[1].lost] == [
        (7, "failed", "tore off"),
        (8, "set aside", "dropped"),
    ]


def test_nothing_measured_is_no_error(tmp_path: Path):
    with Ledger.create(tmp_path / "speaker", PLAN, who="tester") as ledger:
        found = gather_findings(ledger, fit(ledger.plan, ledger.table()), 0)
    assert found.again is None
    assert found.levels == []
    assert [each.setting for each in found.optima] == [None]
