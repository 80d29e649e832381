"""The race for a front: its problem is the published one, and a tiny race runs."""

from __future__ import annotations

import json

import moocore
import numpy as np
from click.testing import CliRunner

from tests.benchmarks.front_race import NAME, POOR, known, main, run, trials_needed, values


def test_the_front_is_as_large_as_published():
    # BoTorch's BraninCurrin: hypervolume 59.36011874867746 by NSGA-II, reference point (18, 6).
    line = np.linspace(0, 1, 1001)
    fine = values(np.column_stack([side.ravel() for side in np.meshgrid(line, line)]))
    inside = fine[(fine < POOR).all(axis=1)]
    assert 0.995 * 59.36011874867746 < moocore.hypervolume(inside, ref=POOR) < 59.36011874867746
    # The steps of the race lose part of it: the front is steep.
    assert 50 < known() < 59.36


def test_a_tiny_race_is_resumed(tmp_path):
    file = tmp_path / "runs.jsonl"
    options = ["--strategies", "ours", "--strategies", "random", "--budget", "8"]
    options += ["--results", str(file)]
    first = CliRunner().invoke(main, [*options, "--seeds", "1"])
    assert first.exit_code == 0, first.output
    before = file.read_text()
    second = CliRunner().invoke(main, [*options, "--seeds", "2"])
    assert second.exit_code == 0, second.output
    assert file.read_text().startswith(before)
    runs = [json.loads(line) for line in file.read_text().splitlines()]
    assert [(one["strategy"], one["seed"]) for one in runs] == [
        ("ours", 0), ("random", 0), ("ours", 1), ("random", 1)
    ]  # fmt: skip
    # The first trials and their share are the same for all; what is tried only adds.
    assert runs[0]["shares"][:6] == runs[1]["shares"][:6] != runs[2]["shares"][:6]
    assert all(np.diff(one["shares"]).min() >= 0 for one in runs)
    assert "| random | 2 |" in second.output


def test_a_run_repeats_exactly():
    one, two = (run(NAME, "ours", 3, 12) for _ in range(2))
    assert one["shares"] == two["shares"]
    assert max(one["shares"]) > one["shares"][5]


def test_a_front_that_is_never_covered_counts_as_one_trial_more():
    assert trials_needed({"shares": [0.2, 0.96], "budget": 8}) == 2
    assert trials_needed({"shares": [0.2] * 8, "budget": 8}) == 9
