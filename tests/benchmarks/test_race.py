"""The lab works: a tiny race, resumed, with numbers that were worked out by hand."""

from __future__ import annotations

import json

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

from tests.benchmarks.race import main
from tests.benchmarks.race_loop import run
from tests.benchmarks.race_problems import PROBLEMS, problem, space_of
from tests.benchmarks.race_strategies import STRATEGIES
from tests.benchmarks.race_table import geometric_table, ratio_table, summary


def test_tiny_race_is_resumed(tmp_path):
    file = tmp_path / "runs.jsonl"
    options = ["--problems", "branin", "--strategies", "ours", "--strategies", "random"]
    options += ["--budget", "6", "--results", str(file)]
    first = CliRunner().invoke(main, [*options, "--seeds", "1"])
    assert first.exit_code == 0, first.output
    before = file.read_text()
    file.write_text(before + '{"problem": "bra')  # as a stop leaves it
    second = CliRunner().invoke(main, [*options, "--seeds", "2"])
    assert second.exit_code == 0, second.output
    lines = file.read_text().splitlines()
    assert len(lines) == 5
    assert "\n".join(lines[:2]) + "\n" == before
    runs = [json.loads(line) for line in [*lines[:2], *lines[3:]]]
    assert {(one["strategy"], one["seed"]) for one in runs} == {
        ("ours", 0), ("random", 0), ("ours", 1), ("random", 1)
    }  # fmt: skip
    assert "| branin | random | 2 |" in second.output


def test_unknown_problem_is_one_clear_error():
    result = CliRunner().invoke(main, ["--problems", "nothing"])
    assert result.exit_code == 2
    assert "known: branin" in result.output


@pytest.mark.parametrize("name", ["branin", "cone-drift"])
def test_first_cones_and_their_luck_are_shared(name):
    runs = [run(name, strategy, 3, 12) for strategy in ("random", "sobol", "one-knob-first")]
    first = runs[0]["first"]
    assert len({tuple(one["regrets"][:first]) for one in runs}) == 1
    assert runs[0]["regrets"] != runs[1]["regrets"]


def test_a_run_repeats_exactly():
    one, two = (run("forked", "ours", 1, 9) for _ in range(2))
    assert (one["regrets"], one["kept"]) == (two["regrets"], two["kept"])


@pytest.mark.parametrize("strategy", [name for name in STRATEGIES if name != "botorch"])
@pytest.mark.parametrize("name", ["forked", pytest.param("diabetes", marks=pytest.mark.slow)])
def test_strategies_propose_what_can_be_printed(name, strategy):
    task, space = problem(name), space_of(name)
    seen = []

    chooser = STRATEGIES[strategy](task, 0, 2, 6)
    names = list(task.plan.variables)
    frame = task.candidates if task.candidates is not None else space.sample(8, 1)
    rows = []
    for number in range(1, 5 if strategy == "skopt" else 7):  # it is slow
        first = number <= 2 and not chooser.own_start
        trials = pd.DataFrame(rows, columns=[*names, *task.plan.metrics, "utility"])
        settings = (
            space.settings(frame.iloc[number])
            if first
            else chooser.propose(trials.assign(status="measured", cone=range(1, number)))
        )
        heard = task.measure(settings, 0, number)
        rows.append(settings | heard | {"utility": task.truth(settings)})
        seen.append(settings)
    table = pd.DataFrame(seen).reindex(columns=names)
    if task.candidates is None:
        assert space.printable(table).all()
    else:
        wanted = set(map(tuple, task.candidates[names].to_numpy()))
        assert set(map(tuple, table[names].to_numpy())) <= wanted


@pytest.mark.parametrize("name", ["branin", "diabetes", "star98"])
def test_stated_best_and_typical(name):
    if name == "star98":
        pytest.importorskip("statsmodels")
    task, space = problem(name), space_of(name)
    frame = task.candidates
    if frame is None:
        frame = space.enumerate(10_000)
    values = np.array([task.truth(space.settings(row)) for _, row in frame.iterrows()])
    assert task.best == pytest.approx(values.max(), rel=1e-3)
    assert task.typical == pytest.approx(np.median(values), abs=0.02 * (task.best - task.typical))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["hartmann6", "ackley-mixed", "forked", "cone"])
def test_nothing_found_beats_the_stated_best(name):
    task, space = problem(name), space_of(name)
    frame = space.sample(500, 9)
    settings = [space.settings(row) for _, row in frame.iterrows()]
    printing = [s for s in settings if task.chance is None or task.chance(s) >= 0.5]
    values = np.array([task.truth(one) for one in printing])
    assert values.max() <= task.best + 1e-3
    assert task.typical == pytest.approx(np.median(values), abs=0.1 * (task.best - task.typical))


def test_every_problem_is_named_with_its_source():
    for name in PROBLEMS:
        if name != "concrete":
            assert len(problem(name).source) > 10


def _run(strategy, seed, regrets, kept):
    return {
        "problem": "p", "strategy": strategy, "seed": seed, "budget": 4, "first": 1,
        "regrets": regrets, "kept": kept, "seconds": [0.5],
    }  # fmt: skip


def test_summary_by_hand():
    found = summary(_run("a", 0, [0.5, None, 0.04, 0.2], 0.04))
    assert found["cones"] == 3
    assert found["area"] == pytest.approx(0.5 + 0.5 + 0.04 + 0.04)
    assert not found["censored"]
    never = summary(_run("a", 0, [None, 0.5, 0.6, 1.7], 0.0))
    assert (never["cones"], never["censored"], never["kept"]) == (5, True, 0.001)
    assert never["area"] == pytest.approx(1 + 3 * 0.5)


def test_a_run_that_went_on_counts_its_cones_and_the_area_of_its_budget():
    late = _run("a", 0, [0.5, 0.5, 0.5, 0.5, 0.5, 0.0], 0.1) | {"limit": 8}
    found = summary(late)
    assert (found["cones"], found["censored"]) == (6, False)
    assert found["area"] == pytest.approx(4 * 0.5)
    never = summary(_run("a", 0, [0.5] * 8, 0.1) | {"limit": 8})
    assert (never["cones"], never["censored"], never["area"]) == (9, True, 2.0)


def test_a_run_goes_on_until_it_gets_there():
    short, long = (run("branin", "random", 2, 8, limit) for limit in (None, 200))
    assert (long["regrets"][:8], long["kept"]) == (short["regrets"], short["kept"])
    assert min(long["regrets"][:-1]) > 0.05 >= long["regrets"][-1]


def test_medians_by_hand():
    table = pd.DataFrame(
        summary(_run(name, seed, [0.5] * cones + [0.0], 0.1) | {"limit": 9})
        for name, counts in (("ours", (0, 1, 7)), ("b", (1, 3, 4)))
        for seed, cones in enumerate(counts)
    )
    assert ratio_table(table)[1][5].startswith("4.0 = 2.00 (")


def test_ratios_by_hand():
    # Ours needs 1 and 2 cones, the other 2 and 4: the ratio is 2 whichever seeds are drawn.
    table = pd.DataFrame(
        [
            summary(_run("ours", 0, [0.0, 0, 0, 0], 0.1)),
            summary(_run("ours", 1, [0.5, 0, 0, 0], 0.1)),
            summary(_run("b", 0, [0.5, 0.0, 0, 0], 0.2)),
            summary(_run("b", 1, [0.5, 0.5, 0.5, 0.0], 0.2)),
        ]
    )
    rows = ratio_table(table)
    assert rows[1][4] == "3.0 = 2.00 (2.00..2.00)"
    assert rows[1][7] == "0.200 = 2.00 (2.00..2.00)"
    assert geometric_table(table)[0][4] == "2.00 (2.00..2.00)"
