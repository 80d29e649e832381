"""The verb recompute, and the answers that wait for it."""

from __future__ import annotations

import pytest

from experiments.ledger import Ledger


def rewrite(folder, *pairs):
    path = folder / "experiment.toml"
    text = path.read_text()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    path.write_text(text)


@pytest.fixture
def heard(run, folder, response):
    assert run("measure", 8, response, "--session", "june", "--in", folder).status == 0
    return folder


ANSWERS = (
    ("next", "--dry-run"),
    ("knobs",),
    ("optimum", "wall"),
    ("compare", 1, 2),
    ("deadends",),
    ("outlook",),
    ("drift",),
    ("report",),
    ("table", "--spread"),
    ("export", "table.csv"),
)


@pytest.mark.parametrize("words", ANSWERS)
def test_no_answer_stands_on_stale_values(run, heard, words):
    rewrite(heard, ('unit = "kHz"', 'unit = "Hz"'))
    told = run(*words, "--in", heard)
    assert told.status == 2
    assert "metrics.upper_limit" in told.err
    assert "since cone 8" in told.err
    assert "was kHz when values were entered for cones 1" in told.err
    assert "coneloop recompute" in told.err


@pytest.mark.parametrize("words", ANSWERS[:2])
def test_no_answer_forgets_cones_for_a_new_variable(run, heard, words):
    new = '[variables.glue]\nkind = "choice"\nlevels = ["none", "rim"]\n[metrics.upper_limit]'
    rewrite(heard, ("[metrics.upper_limit]", new))
    told = run(*words, "--in", heard)
    assert told.status == 2
    assert "variables.glue: found no value for cones 1 to" in told.err
    assert 'before = "none"' in told.err


def test_the_table_leaves_stale_values_out_and_says_so(run, heard):
    rewrite(heard, ('unit = "kHz"', 'unit = "Hz"'))
    told = run("table", "--json", "--in", heard)
    assert told.status == 0
    (row,) = (row for row in told.json if row["cone"] == 8)
    assert row["upper_limit"] is None
    assert "left out of the table: metrics.upper_limit" in told.err


def test_recomputing_shows_records_and_can_be_undone(run, heard):
    rewrite(heard, ('unit = "kHz"', 'unit = "Hz"'), ("= 4.0", "= 4000"), ("= 14.0", "= 14000"))
    shown = run("recompute", "--dry-run", "--json", "--in", heard)
    changes = shown.json["changes"]  # cone 8 has a file, the others were entered by hand
    assert 8 in {change["cone"] for change in changes}
    assert {(change["metric"], change["unit"]) for change in changes} == {("upper_limit", "Hz")}
    for change in changes:
        assert change["after"] == pytest.approx(1000 * change["before"])
    assert not shown.json["recorded"]
    told = run("recompute", "--in", heard)
    assert "upper limit" in told.out
    assert "the table follows the plan" in told.out
    assert run("check", "--in", heard).status == 0
    with Ledger.open(heard) as ledger:
        summary = f"metrics recomputed, {len(changes)} values changed"
        assert ledger.history(1)["summary"].tolist() == [summary]
    assert run("undo", "--in", heard).status == 0
    assert run("check", "--in", heard).status == 2


def test_entered_values_are_kept_when_that_is_said(run, heard):
    rewrite(heard, ('unit = "%"', 'unit = "per mille"'))
    told = run("recompute", "--in", heard)
    assert told.status == 2
    assert "--keep loss" in told.err
    kept = run("recompute", "--keep", "loss", "--in", heard)
    assert "no value differs" in kept.out
    assert run("outlook", "--json", "--in", heard).status == 0


def test_values_that_differ_look_different(run, heard):
    rewrite(heard, ('unit = "kHz"', 'unit = "kHz"\ndrop_db = 10.000001'))
    told = run("recompute", "--dry-run", "--in", heard)
    (row,) = (line.split() for line in told.out.splitlines() if " june " in line)
    before, after = row[4:6]
    assert before != after
    assert float(before) == pytest.approx(float(after), rel=1e-5)
