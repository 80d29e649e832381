"""The README tells the truth: its verbs exist, its table is the catalogue, its examples run."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from experiments.acoustics.catalogue import MEASURES
from optimiser.command import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def block(mark: str) -> str:
    """Give the fenced block that follows a mark."""
    found = re.search(rf"<!-- {mark} -->\n```\w+\n(.*?)```", README, re.DOTALL)
    assert found, mark
    return found[1]


def metrics_table() -> str:
    """Write the table of metrics as the README shows it."""
    lines = ["| metric | unit | definition | source |", "|---|---|---|---|"]
    lines += [
        f"| `{m.name}` | {m.unit or '–'} | {m.definition} | {m.standard} |"
        for m in MEASURES.values()
    ]
    return "\n".join(lines)


def test_the_table_of_metrics_is_the_catalogue():
    inside = README.split("<!-- metrics -->")[1].split("<!-- /metrics -->")[0].strip()
    assert inside == metrics_table()


def test_every_verb_is_in_the_readme():
    for verb in main.list_commands(None):
        assert f"`{verb}" in README, verb


def test_every_verb_of_the_readme_exists():
    named = set(re.findall(r"^coneloop (\w+)", README, re.MULTILINE))
    assert named
    assert named <= set(main.list_commands(None))


@pytest.mark.parametrize("mark", ["demo", "tests"])
def test_the_two_commands_are_single_lines_that_make_their_own_environment(mark):
    line = block(mark).strip()
    assert "\n" not in line
    assert line.startswith("python3 -m venv .venv && ")


@pytest.mark.slow
def test_the_python_example_runs_on_the_demo(tmp_path):
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    run = [sys.executable, "-c", "from optimiser.command import main; main()", "demo"]
    subprocess.run(run, cwd=tmp_path, env=environment, check=True, capture_output=True)
    example = [sys.executable, "-W", "error", "-c", block("python")]
    done = subprocess.run(
        example, cwd=tmp_path, env=environment, check=True, capture_output=True, text=True
    )
    assert len(done.stdout.strip().splitlines()) >= 6
